"""The differencing attack, replayed: what a fitter learns of single riders by asking every question of many selections.

The attacker knows how the warehouse is laid out, asks as a fitter, and subtracts. An answer is compared with every other of
the same question whose fits are a part of its own; the counts that the rows themselves print say of how few riders the
difference tells. What is taken for small does not come from the code under attack: it is the setting alone.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, timedelta
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import Reader, Role
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection import SQL
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.scope import fragments
from dashboard.questions.selection.selection import Selection, codes_of
from shared.errors import FitledgerError
from shared.settings import Settings

# What a row rests on; other counts say how many of these show something.
RIDERS = ("n_riders", "n_riders_seen")
UNITS = ("n", "total", "n_fits", "n_knees", "n_feet", "n_pairs", "n_judged", "n_at_risk", "n_asked", "n_seen")
# Values on the axis of a picture, and rows of tables, which count no riders.
_NO_COUNTS = ("funnel", "tables", "loads")
# Questions on the fitter's own riders, and on rows of tables.
NOT_OF_GROUPS = ("riders", "data")
_NO_NAME = ("words", "signals", "note", "told", "unit", "counted")
_NAMED = ("limit", "dose", "days")
# Whole effects are slow, and their counts are all here.
_PARTS: dict[str, dict[str, tuple[str, ...]]] = {"effects": {"parts": ("overall",), "outcomes": ("tilt",)}}


@dataclass
class Replayed:
    """What the attack found in one question: answers got, pairs of answers subtracted, rows that tell of too few riders, and
    values of single riders that came out exactly."""

    question: str
    asked: int = 0
    answered: int = 0
    pairs: int = 0
    small_rows: int = 0
    small_differences: int = 0
    recovered: int = 0
    examples: list[str] = field(default_factory=list)

    @property
    def told(self) -> int:
        """Rows and differences that tell of fewer riders than are shown, and values that came out."""
        return self.small_rows + self.small_differences + self.recovered

    def note(self, example: str) -> None:
        if len(self.examples) < 5:
            self.examples.append(example)


def replay(
    path: Path,
    fitter: str,
    *,
    days: int = 365,
    step: int = 1,
    questions: Sequence[str] = QUESTIONS,
    splits: Sequence[str | None] = (None,),
    settings: Settings | None = None,
) -> list[Replayed]:
    """Attacks the warehouse at `path` as `fitter`; one row a question.

    days: how many days, up to the data's last, are asked up to, from, and alone, every `step`-th of them with the day before.
    """
    attack = _Attack(path, fitter, settings or Settings())
    selections = list(dict.fromkeys(attack.selections(days, step, splits)))
    return [attack.on(question, selections) for question in questions if question not in NOT_OF_GROUPS]


class _Attack:
    def __init__(self, path: Path, fitter: str, settings: Settings) -> None:
        self.asker, self.settings, self.fitter = Asker(path, settings), settings, fitter
        self.asked_by = AskedBy(self.asker, lambda: Reader("attacker", Role.FITTER, fitter))
        self.choices = self.asker.choices()
        self._groups: dict[Selection, frozenset[int]] = {}
        # So many feet one rider has at most, over all fits.
        self.most = self.asker.look_up(
            lambda at: int(at.value("SELECT max(2 * n) FROM (SELECT count(*) AS n FROM mart.fits GROUP BY rider_no)"))
        )

    def selections(self, days: int, step: int, splits: Sequence[str | None]) -> Iterator[Selection]:
        last, first = self.choices.last_date, self.choices.first_date
        assert last is not None and first is not None
        words = ("studio", "visit_kind", "bike_kind", "riding", "side", "arch_height", "forefoot")
        for split in splits:
            yield Selection(split=split)
            for word in words:
                for value in codes_of(word) or getattr(self.choices, word):
                    chosen: dict[str, Any] = {word: (value,)}
                    yield Selection(split=split, **chosen)
            for year in range(first.year, last.year + 1):
                yield Selection(date(year, 1, 1), date(year, 12, 31), split=split)
                for month in range(1, 13):
                    start, after = date(year, month, 1), date(year + month // 12, month % 12 + 1, 1)
                    yield Selection(start, after - timedelta(days=1), split=split)
                    if month % 3 == 1:
                        after = date(year + (month + 2) // 12, (month + 2) % 12 + 1, 1)
                        yield Selection(start, after - timedelta(days=1), split=split)
        for back in range(0, days, step):
            for day in (last - timedelta(days=back), last - timedelta(days=back + 1)):
                yield Selection(date_to=day)
                yield Selection(date_from=day)
                yield Selection(day, day)
                yield from (Selection(date_to=day, studio=(studio,)) for studio in self.choices.studio)

    def on(self, question: str, selections: Iterable[Selection]) -> Replayed:
        found, answers = Replayed(question), dict[Selection, Answer]()
        for selection in selections:
            found.asked += 1
            answer = self._ask(question, selection)
            if answer is not None:
                found.answered += 1
                answers[self._of(answer)] = answer
        for selection, answer in answers.items():
            self._small_rows(found, selection, answer)
        own = {s: self._ask(question, replace(s, fitter=(self.fitter,))) for s in answers} if question != "fitters" else {}
        for selection, mine in own.items():
            if mine is not None:
                self._subtract(found, question, (selection, answers[selection]), (self._of(mine), mine))
        self._rests(found, question, answers)
        for one, other in combinations(answers.items(), 2):
            if one[0].split == other[0].split:
                self._subtract(found, question, one, other)
        return found

    def _rests(self, found: Replayed, question: str, answers: dict[Selection, Answer]) -> None:
        """Takes the largest answer less all that part it, word by word, year by year and quarter by quarter."""
        least = self.settings.minimum.riders_shown
        families: dict[Any, list[Selection]] = {}
        for selection in answers:
            families.setdefault((selection.split, _family(selection)), []).append(selection)
        for (split, family), parts in families.items():
            whole = max((one for one in answers if one.split == split), key=lambda one: len(self._feet(one)))
            if family is None or sum(len(self._feet(one)) for one in parts) > len(self._feet(whole)):
                continue
            named = [{(name, *_name(row)): row for name, row in _rows(answers[one], self.fitter)} for one in parts]
            for name, row in _rows(answers[whole], self.fitter):
                told = [rows[name, *_name(row)] for rows in named if (name, *_name(row)) in rows]
                for unit in UNITS:
                    counts = [_count(one, unit) for one in (row, *told)]
                    rest = (counts[0] or 0) - sum(count or 0 for count in counts[1:])
                    # A fit with two kinds of feet is counted twice: only where feet are counted do these words part a whole.
                    is_parted = family not in ("side", "arch_height", "forefoot") or unit == "n_feet"
                    if is_parted and told and 0 < rest < least and not self._is_own(row):
                        found.small_differences += 1
                        found.note(f"{question}: all less each {family} {name} {_name(row)}: {rest} {unit}")

        for selection, answer in answers.items():
            self._rest_of_levels(found, selection, answer)

    def _rest_of_levels(self, found: Replayed, selection: Selection, answer: Answer) -> None:
        """Takes the row of all fits less those of each level of a split, where that is what feet or fits are parted by."""
        wholes: dict[Any, Any] = {}
        levels: dict[Any, list[Any]] = {}
        for name, row in _rows(answer, self.fitter):
            if hasattr(row, "level") and hasattr(row, "split"):
                key = (name, *(value for value in _name(row) if value not in (row.level, row.split)))
                if row.level is None:
                    wholes[key] = row
                else:
                    levels.setdefault(key, []).append(row)
        for key, rows in levels.items():
            for unit in UNITS:
                counts = [_count(row, unit) or 0 for row in (wholes.get(key), *rows) if row is not None]
                rest = counts[0] - sum(counts[1:])
                if key in wholes and 0 < rest < self.settings.minimum.riders_shown:
                    found.small_differences += 1
                    found.note(f"{found.question}?{selection.query()} {key} less its levels: {rest} {unit}")

    def _ask(self, question: str, selection: Selection) -> Answer | None:
        try:
            return self.asked_by.ask(question, selection, **_PARTS.get(question, {}))
        except FitledgerError:
            return None

    @staticmethod
    def _of(answer: Answer) -> Selection:
        """The selection that was answered, which may be another one than was asked."""
        told = answer.selection
        return Selection(**{("date_" + word if word in ("from", "to") else word): value for word, value in told.items()})

    def _feet(self, selection: Selection) -> frozenset[int]:
        """The feet of a selection."""
        plain = replace(selection, split=None)
        if plain not in self._groups:
            parameters = {**self.settings.parameters(), **plain.parameters()}
            feet = self.asker.look_up(lambda at: at.arrays(SQL / "feet_nos.sql", parameters, **fragments()))
            self._groups[plain] = frozenset((2 * feet["fit_no"].astype(np.int64) + feet["side"]).tolist())
        return self._groups[plain]

    def _small_rows(self, found: Replayed, selection: Selection, answer: Answer) -> None:
        least = self.settings.minimum.riders_shown
        for name, row in _rows(answer, self.fitter):
            base = [_count(row, counted) for counted in RIDERS if hasattr(row, counted)]
            if any(n is not None and 0 < n < least for n in base) and not self._is_own(row):
                found.small_rows += 1
                found.recovered += min(n for n in base if n) == 1
                found.note(f"{found.question}?{selection.query()} {name} {_name(row)}: {base} riders")

    def _is_own(self, row: Any) -> bool:
        return getattr(row, "fitter_id", None) == self.fitter or self.fitter in (getattr(row, "level", None),)

    def _subtract(self, found: Replayed, question: str, one: tuple[Selection, Answer], other: tuple[Selection, Answer]) -> None:
        (part, less), (whole, more) = sorted((one, other), key=lambda pair: len(self._feet(pair[0])))
        if not self._feet(part) <= self._feet(whole):
            return
        found.pairs += 1
        rows = {(name, *_name(row)): row for name, row in _rows(less, self.fitter)}
        for name, row in _rows(more, self.fitter):
            inner = rows.get((name, *_name(row)))
            if inner is None:
                continue
            if not self._is_own(row) and self._is_few(row, inner):
                found.small_differences += 1
                found.recovered += self._comfort_comes_out(row, inner, whole, part)
                found.note(f"{question}?{whole.query()} less {part.query()} {name} {_name(row)}")

    def _is_few(self, row: Any, inner: Any) -> bool:
        """Whether a row less the one of a part tells of too few: so few units, or so few riders with few units each."""
        least = self.settings.minimum.riders_shown
        units = [gap for gap in _gaps(row, inner, UNITS) if gap]
        riders = [gap for gap in _gaps(row, inner, RIDERS) if gap]
        if any(gap < least for gap in units):
            return True
        return any(gap < least for gap in riders) and max(units, default=0) < least * self.most

    def _comfort_comes_out(self, row: Any, inner: Any, whole: Selection, part: Selection) -> bool:
        """Whether the mean of a rating of both answers gives one rider's change, as it stands in the warehouse."""
        if getattr(row, "mean_change_points", None) is None or getattr(inner, "mean_change_points", None) is None:
            return False
        if row.n_pairs - inner.n_pairs != 1 or row.topic != "comfort" or row.from_moment != "arrival" or row.level is not None:
            return False
        got = row.n_pairs * row.mean_change_points - inner.n_pairs * inner.mean_change_points
        fits = sorted({foot // 2 for foot in self._feet(whole) - self._feet(part)})
        truth = self.asker.look_up(
            lambda at: at.rows(
                "SELECT comfort_departure - comfort_arrival AS gained FROM mart.fits WHERE list_contains($fits, fit_no)",
                {"fits": fits},
            )
        )
        return any(one["gained"] is not None and abs(one["gained"] - got) < 1e-6 for one in truth)


def _rows(answer: Answer, fitter: str) -> Iterator[tuple[str, Any]]:
    """The rows of every list that counts riders or what belongs to them, save cases of the fitter's own."""
    for name, row in type(answer).lists().items():
        if name not in _NO_COUNTS and any(one.name in (*UNITS, *RIDERS) for one in fields(row)):
            yield from ((name, one) for one in getattr(answer, name))


def _name(row: Any) -> tuple[Any, ...]:
    return tuple(
        getattr(row, one.name)
        for one in fields(row)
        if one.name in _NAMED or ("words" not in one.name and one.name not in _NO_NAME and _is_name(getattr(row, one.name)))
    )


def _family(selection: Selection) -> str | None:
    """What parts all fits into selections like this one."""
    given = [word for word in selection.as_dict() if word not in ("from", "to", "split")]
    if given or selection.date_from is None or selection.date_to is None:
        return given[0] if len(given) == 1 and selection.date_from is None else None
    months = round((selection.date_to - selection.date_from).days / 30.4)
    return {12: "year", 3: "quarter"}.get(months)


def _is_name(value: Any) -> bool:
    return isinstance(value, str | date)


def _count(row: Any, name: str) -> int | None:
    """A count as it is read; one that is not told prints nothing."""
    count = getattr(row, name, None)
    return None if count is None or str(count) == "" else int(count)


def _gaps(row: Any, inner: Any, counted: Sequence[str]) -> list[int]:
    """By how much the counts of two rows differ, of those that both tell."""
    pairs = [(_count(row, name), _count(inner, name)) for name in counted if hasattr(row, name)]
    return [abs(more - less) for more, less in pairs if more is not None and less is not None]


def printed(rows: Sequence[Replayed], say: Callable[[str], None] = print) -> None:
    """The table of an attack."""
    say(f"{'question':<12}{'asked':>7}{'answered':>10}{'pairs':>8}{'rows of few':>13}{'differences':>13}{'values':>8}")
    for row in rows:
        say(
            f"{row.question:<12}{row.asked:>7}{row.answered:>10}{row.pairs:>8}{row.small_rows:>13}{row.small_differences:>13}"
            f"{row.recovered:>8}"
        )
