"""Do riders come back, and does the fit hold: bookings, returns over closed windows, the curve of returns, what lasted."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data import noise as noise_question
from dashboard.questions.data.answers_noise import Noise, NoiseRow
from dashboard.questions.followed.answers_important import ImportantChange
from dashboard.questions.followed.held import BECAME, HELD, NOT_HELD, became_of, followed_fits
from dashboard.questions.followed.worth import limits_of
from dashboard.questions.returns import SQL
from dashboard.questions.returns.answers_returns import (
    AtRiskRow,
    ComparisonRow,
    ReturnCurveRow,
    ReturnFigure,
    Returns,
    SaidRow,
)
from dashboard.questions.returns.held import held_rows, held_words
from dashboard.questions.returns.lasting import lasting_rows, said_rows
from dashboard.questions.returns.unseen import Left
from dashboard.questions.returns.worth_rows import worth_rows
from dashboard.questions.selection.every_fit import Remember, at_once, read_or_cut
from dashboard.questions.selection.levels import Levels, count_riders, levels_of_feet
from dashboard.questions.selection.numbers import spoken_chance, spoken_percent, spoken_percents
from dashboard.questions.selection.recorded import Recorded
from dashboard.questions.selection.scope import Scope, counted, scope_of
from dashboard.questions.selection.selection import SPLITS, Selection
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
from shared.statistics.time_to_event import ENDED, cumulative_incidence, log_rank, number_at_risk
from shared.warehouse import Warehouse

Rows = dict[str, NDArray[Any]]
_Row = TypeVar("_Row", ReturnFigure, SaidRow)

METHOD = {
    "asked": "first fits and refits, booked or not; a follow-up visit is a return itself, and asks for none",
    "booking": "first fits and refits older than the booking days; booked on the day, or within the booking days",
    "return_rate": "attended within the window / fits whose window has closed; an open window is never a failure",
    "curve": "cumulative incidence (Aalen-Johansen) beside bookings cancelled or missed for good, which end on the day they "
    "were due; Kaplan-Meier where there are none; fits without an end, booked or not, are censored at the data's end",
    "comparison": "log-rank on the rates of coming back; other ends count as censored; fits taken as independent; "
    "a difference is told where p times the number of splits that may be asked for is below 1 - level",
    "held": "a fit held where each knee that it left on record was found no further from neutral tilt at the follow-up's first "
    "capture than it was left, up to MDC95 of all repeat captures; over fits whose window has closed, whenever they came",
    "split": "a fit takes the level that both of its feet have, else its feet differ; a fit has no side",
    "lasting": "first capture of the follow-up against the fit's last; held: no further from neutral (tilt), or no more sway, "
    "than MDC95; only those who came back are seen, so worst and best count the others as all lost or all held (Imbens-Manski)",
    "alike": "inverse-probability weights by what was known at departure, with a regression; what decides who comes and was "
    "not known, such as pain since then, is not seen",
    "intervals": "shares: Wilson on the effective number; means: t; both allow for several rows of one rider",
}

_FEET_DIFFER = "feet differ"
_AT_RISK_EVERY_DAYS = 14
# Each split by what is true of a fit or a foot brings one comparison; a side has none.
_N_SPLITS = len(SPLITS) - 1


@dataclass(frozen=True)
class _Group:
    """The fits at one level of the split; where level is None, all fits."""

    split: str | None
    level: str | None
    rows: Rows

    def where(self, *columns: str) -> Rows:
        """The rows for which all these columns are true."""
        return _where(self.rows, np.logical_and.reduce([self.rows[column].astype(bool) for column in columns]))


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    noise: Noise | None = None,
    remember: Remember | None = None,
    important_change: ImportantChange | None = None,
) -> Returns:
    """What became of the fits, booking and return rates, the curve of returns with its numbers at risk, what lasted.

    `noise`: of all fits, which tells the smallest real change; without it that of the selected fits does.
    `important_change`: of all fits; without it no change of comfort or pain is told to be worth it.
    """
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    assert scope.as_of is not None  # there are fits, and each has a day
    noise_rows = noise.noise if noise else noise_question.rows_of(warehouse, scope, settings, remember)
    by_outcome = {row.outcome: row for row in noise_rows}
    mdc95 = by_outcome["tilt"].mdc95 if by_outcome["tilt"].known_by in ("repeats", "assumed") else None
    became = became_of(followed_fits(warehouse, scope, remember), mdc95)
    rows = {**read_or_cut(warehouse, scope, SQL / "returns_fits.sql", remember), "became": became}
    no_noise = "" if mdc95 is not None else _no_noise(by_outcome["tilt"], scope)
    groups = list(_groups(rows, _levels(warehouse, scope, selection.split, remember), selection.split))
    left = Left(groups[0].where("is_followable"))
    figures = tuple(_if_recorded(figure, scope.recorded, no_noise) for group in groups for figure in _figures(group, settings))
    held = tuple(held_rows(left.rows["became"], left.rows["rider"], settings, no_noise))
    by_figure = {row.figure: row for row in figures if row.level is None}
    return Returns(
        **scope.head(selection),
        method=_method(settings),
        **scope.counts,
        headline=held_words(held, settings, no_noise)
        if no_noise
        else f"{held_words(held, settings)} {by_figure['held'].words}",
        figures=figures,
        curve=tuple(row for group in groups for row in _curve(group, settings)),
        at_risk=tuple(row for group in groups for row in _at_risk(group, settings)),
        comparisons=tuple(_comparisons(selection.split, groups, settings)),
        held=held,
        lasting=tuple(lasting_rows(warehouse, scope, left, by_outcome, settings, remember)),
        said=tuple(_if_recorded(row, scope.recorded) for row in said_rows(left, settings)),
        worth=tuple(worth_rows(warehouse, scope, limits_of(important_change), settings, remember)),
    )


def _no_noise(row: NoiseRow, scope: Scope) -> str:
    """Why the smallest real change of tilt is not known, which a fit is judged by."""
    return noise_question.absent_words("tilt", scope) or row.words.partition(": ")[2].partition(" In its place")[0]


def _if_recorded(row: _Row, recorded: Recorded, no_noise: str = "") -> _Row:
    """The same, or its words alone where the studio does not record what it stands on, or knows no noise to judge it by."""
    figure = row.figure if isinstance(row, ReturnFigure) else row.topic
    absent = no_noise if figure == "held" and no_noise else recorded.instead(figure)
    return replace(row, words=f"{_NAMES[figure]}: {absent.removesuffix('.')}.") if absent else row


def _method(settings: Settings) -> dict[str, Any]:
    window = settings.follow_up
    return {
        **METHOD,
        "booked_within_days": window.booked_within_days,
        "returned_within_days": window.returned_within_days,
    }


def _levels(warehouse: Warehouse, scope: Scope, split: str | None, remember: Remember | None) -> Levels | None:
    """The levels of the feet of the selected fits; none without a split and by side."""
    return None if split is None or split == "side" else levels_of_feet(warehouse, scope, split, remember)


def _groups(rows: Rows, levels: Levels | None, split: str | None) -> Iterator[_Group]:
    """All fits, then each level of the split that both feet of a fit have, fits whose feet differ last."""
    yield _Group(None, None, rows)
    if levels is None:
        return
    left, right = levels.number[np.searchsorted(levels.fit_no, rows["fit_no"])].T
    for number, level in enumerate(levels.names):
        alike = (left == number) & (right == number)
        if alike.any():
            yield _Group(split, level, _where(rows, alike))
    differ = (left >= 0) & (right >= 0) & (left != right)
    if differ.any():
        yield _Group(split, _FEET_DIFFER, _where(rows, differ))


def _where(rows: Rows, chosen: NDArray[np.bool_]) -> Rows:
    return {name: values[chosen] for name, values in rows.items()}


def _figures(group: _Group, settings: Settings) -> Iterator[ReturnFigure]:
    asked, closed = group.where("asks_booking"), group.where("is_followable")
    attended = group.rows["end_code"] == ENDED
    kept = group.rows["kept_code"]
    recorded = attended & (kept > 0)
    rider = group.rows["rider"]
    yield _share(group, "booked_same_day", "fit", asked["has_booked_same_day"], asked["rider"], settings)
    yield _share(group, "booked", "fit", asked["has_booked"], asked["rider"], settings)
    yield _share(group, "return_rate", "fit", closed["has_returned"], closed["rider"], settings)
    measured = np.isin(closed["became"], [BECAME.index(HELD), BECAME.index(NOT_HELD)])
    held = closed["became"][measured] == BECAME.index(HELD)
    yield _share(group, "held", "fit", held, closed["rider"][measured], settings)
    for number, code in enumerate(("all", "some", "none"), start=1):
        yield _share(group, f"setup_kept_{code}", "follow-up", kept[recorded] == number, rider[recorded], settings)


def _share(
    group: _Group, figure: str, unit_counted: str, events: NDArray[Any], rider: NDArray[Any], settings: Settings
) -> ReturnFigure:
    n, n_riders, name = len(events), count_riders(rider), _NAMES[figure]
    start = (figure, group.split, group.level, "share", unit_counted, n)
    if n < settings.minimum.rows_shown:
        return ReturnFigure(*start, None, None, None, f"{name}: not enough yet, {counted(n, unit_counted)}.", n_riders)
    try:
        share = clustered_share(events.astype(float), rider, settings.intervals.level)
    except StatisticsError as refused:
        return ReturnFigure(*start, None, None, None, f"{name}: {refused}", n_riders)
    words = _WORDS[figure].format(
        share=spoken_percent(share.estimate),
        interval=spoken_percents(share.low, share.high),
        n=counted(n, unit_counted),
        booked_days=settings.follow_up.booked_within_days,
        days=settings.follow_up.returned_within_days,
    )
    return ReturnFigure(*start, share.estimate, share.low, share.high, words, n_riders)


def _curve(group: _Group, settings: Settings) -> Iterator[ReturnCurveRow]:
    rows = group.rows
    if len(rows["days"]) < settings.minimum.rows_shown:
        return
    curve = cumulative_incidence(rows["days"].astype(float), rows["end_code"].astype(int), settings.intervals.level)
    is_drawn = curve.time <= settings.follow_up.curve_days
    columns = (curve.time, curve.at_risk, curve.incidence, curve.low, curve.high, curve.competing)
    for day, at_risk, returned, low, high, other in zip(*(column[is_drawn].tolist() for column in columns), strict=True):
        yield ReturnCurveRow(group.split, group.level, int(day), at_risk, returned, _known(low), _known(high), other)


def _at_risk(group: _Group, settings: Settings) -> Iterator[AtRiskRow]:
    rows = group.rows
    if len(rows["days"]) < settings.minimum.rows_shown:
        return
    days = np.arange(0, settings.follow_up.curve_days + 1, _AT_RISK_EVERY_DAYS)
    for day, n in zip(days.tolist(), number_at_risk(rows["days"].astype(float), days.astype(float)).tolist(), strict=True):
        yield AtRiskRow(group.split, group.level, day, n)


def _comparisons(split: str | None, groups: list[_Group], settings: Settings) -> Iterator[ComparisonRow]:
    """Compares the returns of the levels that have enough fits; there is no row without a split."""
    if split is None:
        return
    if split == "side":
        yield ComparisonRow(split, "", 0, None, None, None, "A fit has two sides, so that returns are not split by side.")
        return
    followed = {group.level: group.rows for group in groups if group.level is not None}
    enough = {level: rows for level, rows in followed.items() if len(rows["days"]) >= settings.minimum.rows_shown}
    names = "; ".join(str(level) for level in enough)
    n = sum(len(rows["days"]) for rows in enough.values())
    try:
        time = np.concatenate([rows["days"] for rows in enough.values()] or [np.array([])]).astype(float)
        ended = np.concatenate([rows["end_code"] == ENDED for rows in enough.values()] or [np.array([], bool)])
        test = log_rank(time, ended, np.repeat([str(level) for level in enough], [len(r["days"]) for r in enough.values()]))
    except StatisticsError as refused:
        yield ComparisonRow(split, names, n, None, None, None, str(refused))
        return
    clear = test.p_value * _N_SPLITS < 1 - settings.intervals.level
    finding = "Riders come back at different rates" if clear else "No clear difference in how riders come back"
    chance = f"chance alone would bring a difference as large {spoken_chance(test.p_value)}"
    words = f"{finding} by {split.replace('_', ' ')}: {chance}."
    yield ComparisonRow(split, names, n, test.chi_square, test.df, test.p_value, words)


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value


_NAMES = {
    "satisfaction": "Satisfaction",
    "pain": "Pain",
    "booked_same_day": "Booked on the day",
    "booked": "Booked",
    "return_rate": "Came back",
    "held": "Held, of those measured again",
    "setup_kept_all": "Setup kept whole",
    "setup_kept_some": "Setup kept in part",
    "setup_kept_none": "Setup not kept",
}
_WORDS = {
    "booked_same_day": "{share} of fits had a follow-up booked on the day ({interval}; {n}).",
    "booked": "{share} of fits had a follow-up booked within {booked_days} days ({interval}; {n}).",
    "return_rate": "{share} of fits were seen again within {days} days ({interval}; {n} whose window has closed).",
    "held": "Of {n} measured again {share} held ({interval}).",
    "setup_kept_all": "At {share} of follow-ups the whole setup was still in use ({interval}; {n}).",
    "setup_kept_some": "At {share} of follow-ups a part of the setup was still in use ({interval}; {n}).",
    "setup_kept_none": "At {share} of follow-ups nothing of the setup was still in use ({interval}; {n}).",
}
