"""Sentences of the fitters' answer."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from dashboard.questions.coaching.answers_fitters import BETWEEN, BEYOND, WITHIN, DispersionRow, FitterRow
from dashboard.questions.selection.numbers import spoken, spoken_percent
from dashboard.questions.selection.scope import counted
from shared.settings import Settings
from shared.statistics.multiplicity import in_family
from shared.statistics.told import is_sure

NAMES = {
    "side_difference_left": "Side differences left",
    "return_rate": "Riders who came back",
    "nearer_neutral": "Knees nearer to neutral",
    "comfort_gained": "Comfort gained",
}


def _side(row: FitterRow) -> str:
    """Says whether a figure lies above or below what is expected."""
    return "above" if (row.difference or 0.0) > 0 else "below"


def row_words(row: FitterRow, settings: Settings) -> str:
    """One fitter's figure beside the expected one, and where it lies among the limits."""
    inner, outer = (f"{100 * level:g} %" for level in (settings.fitters.inner_level, settings.fitters.outer_level))
    assert row.place is not None
    place = {
        WITHIN: f"within the {inner} limits",
        BETWEEN: f"outside the {inner} limits, no more than chance may bring among so many figures",
        BEYOND: f"{_side(row)} the {outer} limits: look at these fits together",
    }[row.place]
    assert row.observed is not None and row.expected is not None and row.difference is not None
    fits = counted(row.n_fits, "fit")
    if row.unit == "share":
        figures = f"{spoken_percent(row.observed)} of {fits}, {spoken_percent(row.expected)} expected of these riders"
        return f"{row.fitter_id}: {figures} (ratio {row.ratio:.2f}, {row.ratio_low:.2f} to {row.ratio_high:.2f}); {place}."
    sign = "°" if row.unit == "deg" else row.unit
    figures = f"{spoken(row.observed, 2, sign)} over {fits}, {spoken(row.expected, 2, sign)} expected of these riders"
    low, high = spoken(row.difference_low or 0, 2), spoken(row.difference_high or 0, 2, sign)
    return f"{row.fitter_id}: {figures} (difference {spoken(row.difference, 2, sign)}, {low} to {high}); {place}."


def headline_of(rows: tuple[FitterRow, ...], settings: Settings) -> str:
    """Who lies beyond the outer limits and who outside the inner ones, and on what, by id; and who has too few fits."""
    estimated = [row for row in rows if row.observed is not None]
    few = sorted({row.fitter_id for row in rows} - {row.fitter_id for row in estimated})
    few_words = f" Too few fits yet: {', '.join(few)}." if few else ""
    if not estimated:
        return f"No fitter can be compared yet.{few_words}"
    beyond, between = ("; ".join(_named([row for row in estimated if row.place == place])) for place in (BEYOND, BETWEEN))
    n = len({row.fitter_id for row in estimated})
    inner, outer = (f"the {100 * level:g} % limits" for level in (settings.fitters.inner_level, settings.fitters.outer_level))
    finding = f"beyond {outer}: {beyond}" if beyond else f"none lies beyond {outer}"
    between_words = f" Outside {inner}, no more than chance may bring among so many figures: {between}." if between else ""
    return f"Of {counted(n, 'fitter')} compared with what is expected of their riders, {finding}.{between_words}{few_words}"


def _named(rows: Sequence[FitterRow]) -> Iterator[str]:
    """Each fitter once with what lies apart, as in: F7 on comfort gained and riders who came back (above)."""
    for fitter, of_fitter in groupby(sorted(rows, key=lambda row: (row.fitter_id, _side(row))), lambda row: row.fitter_id):
        sides = [
            f"{' and '.join(NAMES[row.outcome].lower() for row in same)} ({side})" for side, same in groupby(of_fitter, _side)
        ]
        yield f"{fitter} on {', '.join(sides)}"


def judged(
    rows: Sequence[FitterRow], scatter: Sequence[DispersionRow], settings: Settings
) -> tuple[tuple[FitterRow, ...], tuple[DispersionRow, ...]]:
    """All rows with their q-values in one family of fitters, outcomes and scatters, and the words that follow from them."""
    q_values = in_family([row.p_value for row in rows] + [row.p_value for row in scatter])
    of_rows, of_scatter = q_values[: len(rows)], q_values[len(rows) :]
    return (
        tuple(_with_words(replace(row, q_value=q), settings) for row, q in zip(rows, of_rows, strict=True)),
        tuple(_scattered(replace(row, q_value=q)) for row, q in zip(scatter, of_scatter, strict=True)),
    )


def _with_words(row: FitterRow, settings: Settings) -> FitterRow:
    return row if row.p_value is None else replace(row, words=row_words(row, settings))


def _scattered(row: DispersionRow) -> DispersionRow:
    """The row with whether the fitters scatter by more than chance; one without a figure has its reason already."""
    beyond = "more than chance alone" if is_sure(row.q_value) else "no more than by chance"
    words = f"{NAMES[row.outcome]}: {row.n_fitters} fitters scatter {beyond}."
    return row if row.p_value is None else replace(row, words=words)
