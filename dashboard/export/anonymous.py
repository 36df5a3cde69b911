"""Which riders an anonymous export may show, and how much of each: groups of at least `smallest` riders who look alike.

What others may know of a rider is who they are (sex, age, kind of riding, bicycle) and where, when and
why they came. Every
rider is shown at the first of STEPS at which at least `smallest` riders look alike in all of it; a rider for whom no step
will do is held back. Source: k-anonymity, Sweeney 2002, International Journal of Uncertainty, Fuzziness and
Knowledge-Based Systems 10(5):557-570; local generalisation, each class formed among those not yet placed.
"""

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

import pandas as pd

from shared.errors import UsageError

_CODE_DIGITS: Final = 16
_KEY_BYTES: Final = 32


@dataclass(frozen=True)
class Step:
    """How much of a rider is shown: details by name, the dates' period, of the first fit or every fit, of how many fits."""

    words: str
    details: tuple[str, ...]
    period: str | None
    every_period: bool = True
    studio: bool = True
    fits: int | None = None


_ALL: Final = ("sex", "age_band", "riding", "bike_kind")
STEPS: Final = (
    Step("month of every fit, sex, age band, riding, bicycle", _ALL, "month"),
    Step("month of every fit, sex, age band", ("sex", "age_band"), "month"),
    Step("month of every fit, sex", ("sex",), "month"),
    Step("month of every fit", (), "month"),
    Step("month of the first fit, sex, age band", ("sex", "age_band"), "month", every_period=False),
    Step("month of the first fit", (), "month", every_period=False),
    Step("quarter of the first fit, sex, age band", ("sex", "age_band"), "quarter", every_period=False),
    Step("quarter of the first fit", (), "quarter", every_period=False),
    Step("year of the first fit, sex, age band", ("sex", "age_band"), "year", every_period=False),
    Step("year of the first fit", (), "year", every_period=False),
    Step("no date, sex, age band", ("sex", "age_band"), None),
    Step("no date", (), None),
    Step("no date, no studio, two fits", (), None, studio=False, fits=2),
    Step("no date, no studio, one fit", (), None, studio=False, fits=1),
)


@dataclass(frozen=True)
class Anonymity:
    """What came of it: riders at each step, riders held back, and the smallest group that looks alike (None without one)."""

    smallest_group: int | None
    held_back: int
    steps: dict[str, int]

    @property
    def words(self) -> str:
        if self.smallest_group is None:
            return f"No rider is given out: {self.held_back} are too few to be hidden among."
        return (
            f"{sum(self.steps.values())} riders are given out, each among at least {self.smallest_group} who look alike in "
            f"all that is shown; {self.held_back} are held back."
        )


def read_key(path: Path | None) -> bytes:
    """The key of the codes: of a file, made where it is missing; without one a new key that is kept nowhere.

    Raises UsageError where the file is shorter than a key.
    """
    if path is None:
        return secrets.token_bytes(_KEY_BYTES)
    if not path.exists():
        path.touch(mode=0o600)
        path.write_bytes(secrets.token_bytes(_KEY_BYTES))
    key = path.read_bytes()
    if len(key) < _KEY_BYTES:
        raise UsageError(f"{path}: found {len(key)} bytes, expected a key of at least {_KEY_BYTES}. Name another file.")
    return key


def code_of(key: bytes, kind: str, value: str) -> str:
    """The keyed hash (HMAC-SHA-256, 64 bits) that stands for an id; ids of two kinds never share a code."""
    return hmac.new(key, f"{kind}\0{value}".encode(), hashlib.sha256).hexdigest()[:_CODE_DIGITS]


def release(known: pd.DataFrame, fitters: "pd.Series[str]", key: bytes, smallest: int) -> tuple[pd.DataFrame, Anonymity]:
    """The sessions that are given out, with codes and what is shown; `known` is riders_known.sql, `fitters` by session."""
    riders: dict[Any, list[dict[Any, Any]]] = {
        rider: fits.to_dict("records") for rider, fits in known.groupby("rider_id", sort=True)
    }
    placed = _placed(riders, smallest)
    rows = [row for rider, (step, _) in placed.items() for row in _shown(riders[rider], step, key)]
    released = pd.DataFrame(rows, columns=["session_id", *_SHOWN])
    released["fitter_code"] = _fitter_codes(released, fitters, key, smallest)
    steps = {step.words: sum(1 for other, _ in placed.values() if other is step) for step in STEPS}
    groups = [size for _, size in placed.values()]
    return released, Anonymity(
        smallest_group=min(groups) if groups else None,
        held_back=len(riders) - len(placed),
        steps={words: n for words, n in steps.items() if n},
    )


_SHOWN: Final = ("session_code", "rider_code", "studio_code", "period", "visit_no", "visit_kind", *_ALL)


def _placed(riders: dict[Any, list[dict[Any, Any]]], smallest: int) -> dict[Any, tuple[Step, int]]:
    """The step of each rider who may be shown, and how many look alike there."""
    placed: dict[Any, tuple[Step, int]] = {}
    left = list(riders)
    for step in STEPS:
        alike: dict[tuple[Any, ...], list[Any]] = {}
        for rider in left:
            alike.setdefault(_look(riders[rider], step), []).append(rider)
        groups = [group for group in alike.values() if len(group) >= smallest]
        placed |= {rider: (step, len(group)) for group in groups for rider in group}
        left = [rider for rider in left if rider not in placed]
    return placed


def _look(fits: list[dict[Any, Any]], step: Step) -> tuple[Any, ...]:
    """All that is shown of a rider at a step, in the order of the visits."""
    return tuple(tuple(_fit_shown(fit, place, step).values()) for place, fit in enumerate(fits[: step.fits]))


def _fit_shown(fit: dict[Any, Any], place: int, step: Step) -> dict[str, Any]:
    dated = step.period is not None and (step.every_period or place == 0)
    return {
        "studio_id": fit["studio_id"] if step.studio else None,
        "period": period_of(fit["session_date"], step.period) if dated else None,
        "visit_kind": fit["visit_kind"],
        **{name: _known(fit[name]) if name in step.details else None for name in _ALL},
    }


def _shown(fits: list[dict[Any, Any]], step: Step, key: bytes) -> list[dict[str, Any]]:
    rows = []
    for place, fit in enumerate(fits[: step.fits]):
        shown = _fit_shown(fit, place, step)
        studio = shown.pop("studio_id")
        rows.append(
            {
                "session_id": fit["session_id"],
                "session_code": code_of(key, "session", fit["session_id"]),
                "rider_code": code_of(key, "rider", fit["rider_id"]),
                "studio_code": None if studio is None else code_of(key, "studio", studio),
                "visit_no": place + 1,
                **shown,
            }
        )
    return rows


def _fitter_codes(released: pd.DataFrame, fitters: "pd.Series[str]", key: bytes, smallest: int) -> list[str | None]:
    """The code of each session's fitter; none where fewer than `smallest` of the riders given out saw that fitter."""
    by_session = released["session_id"].map(fitters)
    n_riders = released["rider_code"].groupby(by_session).nunique()
    return [
        code_of(key, "fitter", fitter) if isinstance(fitter, str) and n_riders[fitter] >= smallest else None
        for fitter in by_session
    ]


def _known(value: Any) -> Any:
    return None if pd.isna(value) else value


def period_of(day: date, period: str | None) -> str:
    """A date as 2026-03, 2026-Q1 or 2026."""
    return {"month": f"{day:%Y-%m}", "quarter": f"{day.year}-Q{(day.month + 2) // 3}"}.get(period or "", f"{day.year}")
