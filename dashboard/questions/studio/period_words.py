"""How a period and its differences from earlier ones are said."""

from collections.abc import Mapping, Sequence
from typing import Final

from dashboard.questions.selection.numbers import spoken, spoken_percent
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.spans import Span, spoken_beside, spoken_span
from dashboard.questions.studio.answers_periods import PeriodChangeRow
from dashboard.questions.studio.differences import bare, points, size_ends, size_words
from dashboard.questions.studio.headline_figures import NAMES, NO_CLEAR_CHANGE

_NUMBERS: Final = {2: "two", 3: "three", 4: "four"}


def few_words(row: PeriodChangeRow, unit: str, spans: Mapping[str, Span], refusal: str = "") -> str:
    """Why two periods are not compared."""
    numbers = refusal or f"{counted(row.n_this, unit)} now, {counted(row.n_against, unit)} then."
    return f"{NAMES[row.figure]}: not enough yet to compare with {_then(row, spans)}. {numbers[:1].upper()}{numbers[1:]}"


def change_words(row: PeriodChangeRow, spans: Mapping[str, Span]) -> str:
    """One comparison, as in: Comfort gained: better, 0.4 points more than in June, 0.1 to 0.7 (50 and 47 fits).

    `row.words` names what is counted.
    """
    n, name = f"{row.n_this:,} and {row.n_against:,} {row.words}s", NAMES[row.figure]
    if row.judged == NO_CLEAR_CHANGE:
        return f"{name}: {NO_CLEAR_CHANGE} from {_then(row, spans)}, {points(row.unit, row.difference)} ({_ends(row)}; {n})."
    return f"{name}: {row.judged}, {_claimed(row, spans)} ({n})."


def _claimed(row: PeriodChangeRow, spans: Mapping[str, Span]) -> str:
    """As in: 22 points fewer than in June, 2 to 42."""
    size = size_words(row.unit, row.difference)
    return f"{size} than in {_then(row, spans)}, {size_ends(row.unit, row.low, row.high)}"


def _ends(row: PeriodChangeRow) -> str:
    return f"{bare(row.unit, row.low)} to {bare(row.unit, row.high)}"


def _then(row: PeriodChangeRow, spans: Mapping[str, Span]) -> str:
    return earlier(row.against, spans)


def earlier(against: str, spans: Mapping[str, Span]) -> str:
    """An earlier period, as in: June; July 2025; the 59 days before; the same days a year before."""
    then = spans[against]
    if then.n_months:
        return spoken_beside(then, spans["this"])
    if against == "year_before":
        return "the same days a year before"
    return f"the {counted(then.n_days, 'day')} before" if then.n_days > 1 else "the day before"


def headline_of(changes: Sequence[PeriodChangeRow], spans: Mapping[str, Span]) -> str:
    """How the period was: what is better and worse than before, or that nothing clearly is."""
    period = spoken_span(spans["this"])
    compared = [row for row in changes if row.difference is not None]
    if not compared:
        known = {row.figure: f"{_lower(row)} {_level(row.unit, row.estimate)}" for row in changes if row.estimate is not None}
        levels = f" {', '.join(known.values())}." if known else ""
        return f"{period}: not enough yet to compare with an earlier period.{levels[:2].upper()}{levels[2:]}"
    # Of a whole year both earlier periods are one.
    compared = list({(row.figure, spans[row.against]): row for row in reversed(compared)}.values())[::-1]
    clear = [row for row in compared if row.judged != NO_CLEAR_CHANGE]
    if not clear:
        return " ".join(filter(None, (_nothing_clear(period, compared, spans), _nearest(compared, spans))))
    # One comparison a figure tells which way it went, that with the period before where it is clear.
    told = list({(row.figure, row.judged): row for row in reversed(clear)}.values())[::-1]
    ways = {way: [_lower(row) for row in told if row.judged == way] for way in ("better", "worse")}
    said = ", ".join(f"{way} in {_listed(names)}" for way, names in ways.items() if names)
    sizes = "; ".join(f"{_lower(row)}: {_claimed(row, spans)}" for row in told)
    rest = len({row.figure for row in compared}) - len({row.figure for row in told})
    which = counted(rest, "figure") if rest > 1 else "figure"
    others = f" {NO_CLEAR_CHANGE.capitalize()} in the other {which}." if rest else ""
    return f"{period} was {said}. {sizes[:1].upper()}{sizes[1:]}.{others}"


def _listed(names: Sequence[str]) -> str:
    """As in: comfort gained, fits seen again in time and knees better at departure."""
    *before, last = names
    return f"{', '.join(before)} and {last}" if before else last


def _nothing_clear(period: str, compared: Sequence[PeriodChangeRow], spans: Mapping[str, Span]) -> str:
    figures = len({row.figure for row in compared})
    against = " or from ".join(dict.fromkeys(_then(row, spans) for row in compared))
    which = f"in any of the {_NUMBERS[figures]} figures" if figures > 1 else f"in {_lower(compared[0])}"
    return f"{period}: {NO_CLEAR_CHANGE} from {against} {which}."


def _nearest(compared: Sequence[PeriodChangeRow], spans: Mapping[str, Span]) -> str:
    """The difference whose interval leaves out zero though it may not be claimed: sentence and picture must not quarrel."""
    apart = [row for row in compared if (row.low or 0) > 0 or (row.high or 0) < 0]
    if not apart:
        return ""
    row = min(apart, key=lambda row: row.p_value or 0)
    size = f"{points(row.unit, row.difference)} from {_then(row, spans)} ({_ends(row)})"
    now, then = (_level(row.unit, value) for value in (row.estimate, row.estimate_against))
    return (
        f"Most apart: {_lower(row)}, {now} and {then}, {size}; among {counted(len(compared), 'comparison')} chance alone often "
        "brings one like it."
    )


def _level(unit: str, value: float | None) -> str:
    return spoken_percent(value or 0) if unit == "share" else spoken(value or 0, 1, "points")


def _lower(row: PeriodChangeRow) -> str:
    name = NAMES[row.figure]
    return name[:1].lower() + name[1:]
