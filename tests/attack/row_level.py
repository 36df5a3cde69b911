"""The attackers of an export that gives riders out row by row, as anonymous exports did before: so that such an export fails.

Each knows who, where, when and why a rider came, as far as the export shows it, and one thing more. The riders who look
alike to them are those whose rows hold the same values; one guess among them is right once in as many.
"""

import csv
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

_KNOWN = ("studio_id", "session_period", "session_date", "visit_kind", "bike_kind", "riding", "sex", "age_band")
_SUPPORTS = ("insole_level", "total_shims", "stance_mm")
Row = dict[str, str]


def rows_of(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def attacked(folder: Path) -> list[dict[str, Any]]:
    fits = _by_rider(rows_of(folder / "fits.csv"), "visit_no")
    captures = _by_rider(rows_of(folder / "captures.csv"), "capture_no")

    def supports(rider: str) -> Any:
        first, last = fits[rider][0]["session_id"], fits[rider][-1]["session_id"]
        seen = sorted(captures.get(rider, []), key=lambda row: row["side"])
        begun = [row for row in seen if row["session_id"] == first and row["is_arrival"] == "true"]
        left = [row for row in seen if row["session_id"] == last and row["is_departure"] == "true"]
        return _told([*begun, *left], "side", *_SUPPORTS)

    knows: dict[str, Callable[[str], Any]] = {
        "who, where, when and why": lambda rider: None,
        "and the fitter": lambda rider: _told(fits[rider], "fitter_id"),
        "and the follow-up": lambda rider: _told(fits[rider], "has_booked", "has_attended", "booked_on", "attended_on"),
        "and the captures": lambda rider: _told(fits[rider], "n_captures"),
        "and the comfort said": lambda rider: _told(fits[rider], "comfort_arrival", "comfort_departure"),
        "supports": supports,
    }
    return [_measured(fits, words, what) for words, what in knows.items()]


def _measured(fits: dict[str, list[Row]], words: str, what: Callable[[str], Any]) -> dict[str, Any]:
    looks = {rider: (_told(rows, *_KNOWN), what(rider)) for rider, rows in fits.items()}
    alike = Counter(looks.values())
    sizes = [alike[look] for look in looks.values()]
    return {
        "attacker": words,
        "knows": f"{words}, of every visit as far as the rows show it",
        "riders": len(sizes),
        "share_below_ten": sum(size < 10 for size in sizes) / len(sizes),
        "fewest_alike": min(sizes),
        "mean_right_guesses": sum(1 / size for size in sizes) / len(sizes),
        "worst": 1 / min(sizes),
    }


def _by_rider(rows: list[Row], order: str) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in sorted(rows, key=lambda row: int(row[order])):
        found.setdefault(row["rider_id"], []).append(row)
    return found


def _told(rows: list[Row], *names: str) -> Any:
    return tuple(tuple(row.get(name) for name in names) for row in rows)
