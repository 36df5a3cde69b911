"""How one studio does beside the others: each headline figure, and the differences with their intervals as one family."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from dashboard.questions.data import noise
from dashboard.questions.selection.every_fit import Remember, at_once
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.scope import counted, names_of, scope_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_studios import BetweenStudiosRow, OneStudioRow, Studios
from dashboard.questions.studio.differences import bare, difference_of, points, size_ends, size_words
from dashboard.questions.studio.headline_figures import HEADLINE, NO_CLEAR_CHANGE, judged
from dashboard.questions.studio.studio import Measured, estimate_of, measured
from shared.errors import NotEstimableError, TooFewError
from shared.rig.care import Watched, care, concerning
from shared.settings import Settings
from shared.statistics.multiplicity import in_family
from shared.statistics.told import direction
from shared.warehouse import Warehouse

NO_CLEAR_DIFFERENCE = "no clear difference"
METHOD = {
    "limits": "every studio is measured by the same smallest real change (MDC95), so that one yardstick serves all",
    "difference": "one studio less the other, or less all others together, least squares with CR2 by rider, since a rider may "
    "have been in both",
    "q_value": "Benjamini-Hochberg over all comparisons; told where the interval leaves out zero and q is small",
    "riders": "they were not drawn by lot: studios may see other riders, which a difference does not take away",
}
_OTHERS = "the others"


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    remember: Remember | None = None,
    rig: Watched | None = None,
) -> Studios:
    """The figures of each studio of the selection. rig: what is found of the rigs stands in the headline."""
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    tilt_noise = noise.own_noise("tilt", noise.pairs_of(warehouse, scope, remember), settings)
    by_studio: dict[str, list[Measured]] = {}
    for name in sorted(selection.studio or names_of(warehouse, remember)["studio"]):
        own = scope_of(warehouse, replace(selection, studio=(name,)), settings, remember or at_once)
        if own.n_fits:
            by_studio[name] = list(measured(warehouse, own, settings, tilt_noise, remember))
    rows = tuple(_judged([row for at in range(len(HEADLINE)) for row in _compared(at, by_studio, settings)]))
    watched = care(concerning(rig, selection.studio), selection.date_from, selection.date_to)
    return Studios(
        **scope.head(selection),
        method={**METHOD, "level": settings.intervals.level},
        **scope.counts,
        headline=" ".join(filter(None, (_headline(rows, list(by_studio)), watched))),
        figures=tuple(_one(by_studio[name][at], name, settings) for at in range(len(HEADLINE)) for name in by_studio),
        differences=rows,
    )


def _one(one: Measured, studio: str, settings: Settings) -> OneStudioRow:
    estimate = estimate_of(one.values, one.rider, one.unit, settings)
    figures = (estimate.estimate, estimate.low, estimate.high) if estimate else (None, None, None)
    row = OneStudioRow(one.figure, studio, one.unit, one.counted, len(one.values), *figures)
    return replace(row, n_riders=count_riders(one.rider))


def _compared(at: int, by_studio: dict[str, list[Measured]], settings: Settings) -> Iterator[BetweenStudiosRow]:
    """Of two studios the first less the second; of more each less all others together."""
    parts = [figures[at] for figures in by_studio.values()]
    if len(parts) < 2:
        return
    whole = replace(
        parts[0],
        values=np.concatenate([one.values for one in parts]),
        rider=np.concatenate([one.rider for one in parts]),
        day=np.concatenate([one.day for one in parts]),
    )
    place = np.repeat(np.arange(len(parts)), [len(one.values) for one in parts])
    names = list(by_studio)
    for number, name in enumerate(names[:1] if len(names) == 2 else names):
        yield _between(whole, place == number, (name, names[1] if len(names) == 2 else _OTHERS), settings)


def _between(one: Measured, here: np.ndarray, names: tuple[str, str], settings: Settings) -> BetweenStudiosRow:
    n_this, n_against = int(here.sum()), int((~here).sum())
    row = BetweenStudiosRow(one.figure, *names, one.unit, n_this, n_against, None, None, None, "")
    if one.refusal:
        return replace(row, words=f"{HEADLINE[row.figure]}: {one.refusal}")
    try:
        difference = difference_of(one, here, ~here, settings)
    except (TooFewError, NotEstimableError) as refusal:
        numbers = (
            str(refusal)
            or f"{counted(n_this, one.counted)} at {row.studio}, {counted(n_against, one.counted)} at {row.against}."
        )
        return replace(row, words=f"{HEADLINE[row.figure]}: not enough yet to compare. {numbers}")
    return replace(
        row,
        difference=difference.estimate,
        low=difference.low,
        high=difference.high,
        p_value=difference.p_value,
        words=f"{one.counted}s",
    )


def _judged(rows: Sequence[BetweenStudiosRow]) -> Iterator[BetweenStudiosRow]:
    """The rows of one family with their q-values, what may be said of them, and their sentences."""
    for each, q_value in zip(rows, in_family([row.p_value for row in rows]), strict=True):
        row = replace(each, q_value=q_value)
        if row.difference is None:
            yield row
            continue
        said = judged(row.figure, direction(row.low, row.high, q_value))
        row = replace(row, judged=NO_CLEAR_DIFFERENCE if said == NO_CLEAR_CHANGE else said)
        yield replace(row, words=_words(row))


def _words(row: BetweenStudiosRow) -> str:
    n = f"{row.n_this:,} and {row.n_against:,} {row.words}"
    if row.judged == NO_CLEAR_DIFFERENCE:
        ends = f"{bare(row.unit, row.low)} to {bare(row.unit, row.high)}"
        size = points(row.unit, row.difference)
        return f"{HEADLINE[row.figure]}: {NO_CLEAR_DIFFERENCE}, {row.studio} less {row.against} {size} ({ends}; {n})."
    size = f"{size_words(row.unit, row.difference)} than at {row.against}, {size_ends(row.unit, row.low, row.high)}"
    return f"{HEADLINE[row.figure]}: {row.judged} at {row.studio}, {size} ({n})."


def _headline(rows: Sequence[BetweenStudiosRow], studios: Sequence[str]) -> str:
    if len(studios) < 2:
        return "There is one studio in this selection, and nothing to compare it with."
    compared = [row for row in rows if row.difference is not None]
    if not compared:
        return "Not enough yet to compare the studios: each needs more fits."
    clear = [row for row in compared if row.judged != NO_CLEAR_DIFFERENCE]
    if not clear:
        between = " and ".join(studios) if len(studios) == 2 else f"the {len(studios)} studios"
        return f"{NO_CLEAR_DIFFERENCE.capitalize()} between {between}."
    return " ".join(row.words for row in clear)
