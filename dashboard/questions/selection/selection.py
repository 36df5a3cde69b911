"""The selection: which fits are asked about. The same words in the address bar, on the command line and on the screens."""

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import date
from typing import Any
from urllib.parse import urlencode

from shared.catalogue import catalogue
from shared.errors import UsageError

FOREFOOT_CLASSES = ("valgus", "neutral", "mild_varus", "marked_varus")
SPLITS = (
    "foot_type",
    "arch_height",
    "forefoot",
    "arch_collapse",
    "heel_posture",
    "squat_knee_path",
    "foot_posture",
    "hip_flexion",
    "arrival_direction",
    "shim_place",
    "stance_by",
    "side",
    "riding",
    "bike_kind",
    "visit_kind",
    "sex",
    "age_band",
)

# Free values come from the studio's own data; coded ones from the catalogue.
_CODES: dict[str, tuple[str, ...]] = {
    "visit_kind": catalogue()["fit_sessions"].column("visit_kind").codes,
    "riding": catalogue()["riders"].column("riding").codes,
    "arch_height": catalogue()["foot_exams"].column("arch_height").codes,
    "forefoot": FOREFOOT_CLASSES,
    "side": catalogue()["knee_captures"].column("side").codes,
}


@dataclass(frozen=True)
class Selection:
    """Dates are inclusive; an empty tuple means all; ids are matched letter by letter.

    `split` names the column by which figures are split.
    """

    date_from: date | None = None
    date_to: date | None = None
    studio: tuple[str, ...] = ()
    fitter: tuple[str, ...] = ()
    visit_kind: tuple[str, ...] = ()
    bike_kind: tuple[str, ...] = ()
    riding: tuple[str, ...] = ()
    arch_height: tuple[str, ...] = ()
    forefoot: tuple[str, ...] = ()
    side: tuple[str, ...] = ()
    rider: tuple[str, ...] = ()
    split: str | None = None

    def parameters(self) -> dict[str, Any]:
        """What SQL binds: `date_from`, `date_to`, and a list or None for each of the others."""
        return {
            field.name: (list(value) or None) if isinstance(value := getattr(self, field.name), tuple) else value
            for field in fields(self)
            if field.name != "split"
        }

    def as_dict(self) -> dict[str, Any]:
        """The words as asked, without what was left open."""
        return {WORDS[name]: value for name, value in self._given()}

    def query(self) -> str:
        """The selection as the query of an address, without the question mark."""
        return urlencode(
            {WORDS[name]: ",".join(value) if isinstance(value, tuple) else value for name, value in self._given()},
            safe=",",
        )

    def _given(self) -> Iterable[tuple[str, Any]]:
        return ((field.name, value) for field in fields(self) if (value := getattr(self, field.name)))


WORDS = {field.name: field.name.removeprefix("date_") for field in fields(Selection)}
FIELDS = {word: name for name, word in WORDS.items()}


def parse_selection(words: Mapping[str, Any]) -> Selection:
    """A selection from words as an address or a command line gives them: text, comma lists, or sequences.

    Raises UsageError naming every unknown word, code and date with what was expected.
    """
    findings: list[str] = []
    values: dict[str, Any] = {}
    for word, given in words.items():
        if given in (None, "", (), []):
            continue
        name = FIELDS.get(word)
        if name is None:
            near = difflib.get_close_matches(word, FIELDS, n=1, cutoff=0.0)[0]
            findings.append(f"{word!r} is no word of a selection; the nearest one is {near!r}.")
        elif name.startswith("date_"):
            values[name] = _date(word, given, findings)
        elif name == "split":
            values[name] = _code(word, str(given), SPLITS, findings)
        else:
            values[name] = _codes(word, given, findings)
    start, end = values.get("date_from"), values.get("date_to")
    if start and end and start > end:
        findings.append(f"from {start} is after to {end}; exchange the two.")
    if findings:
        raise UsageError("Selection: " + " ".join(findings))
    return Selection(**values)


def _date(word: str, given: Any, findings: list[str]) -> date | None:
    if isinstance(given, date):
        return given
    try:
        return date.fromisoformat(str(given))
    except ValueError:
        findings.append(f"{word}: found {given!r}, expected a date such as 2026-01-31.")
        return None


def _code(word: str, given: str, codes: tuple[str, ...], findings: list[str]) -> str | None:
    if given in codes:
        return given
    findings.append(f"{word}: found {given!r}, expected one of {', '.join(codes)}.")
    return None


def _codes(word: str, given: Any, findings: list[str]) -> tuple[str, ...]:
    parts = given.split(",") if isinstance(given, str) else [str(part) for part in given]
    parts = [part.strip() for part in parts if part.strip()]
    if codes := _CODES.get(word):
        return tuple(
            sorted(
                {code for part in parts if (code := _code(word, part.lower(), codes, findings))},
                key=codes.index,
            )
        )
    return tuple(sorted(set(parts)))


def codes_of(word: str) -> tuple[str, ...]:
    """The codes that a word of the selection may take; empty where the studio's own data decide."""
    return _CODES.get(word, ())
