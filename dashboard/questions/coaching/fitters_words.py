"""Sentences of the fitters' answer."""

from dashboard.questions.coaching.answers_fitters import FitterRow
from dashboard.questions.selection.numbers import spoken, spoken_percent
from dashboard.questions.selection.scope import counted
from shared.settings import Settings

NAMES = {
    "side_difference_left": "Side differences left",
    "return_rate": "Riders who came back",
    "nearer_neutral": "Knees nearer to neutral",
    "comfort_gained": "Comfort gained",
}


def _place(row: FitterRow) -> tuple[str, str]:
    """Inside the inner limits, between inner and outer, or outside; and above or below. A limit itself is inside."""
    assert row.observed is not None and row.limit_inner_low is not None and row.limit_inner_high is not None
    assert row.limit_outer_low is not None and row.limit_outer_high is not None
    side = "above" if row.observed > row.limit_inner_high else "below"
    if row.limit_inner_low <= row.observed <= row.limit_inner_high:
        return "inside", side
    return ("between" if row.limit_outer_low <= row.observed <= row.limit_outer_high else "outside"), side


def row_words(row: FitterRow, settings: Settings) -> str:
    """One fitter's figure beside the expected one, and where it lies among the limits."""
    inner, outer = (f"{100 * level:g} %" for level in (settings.fitters.inner_level, settings.fitters.outer_level))
    where, side = _place(row)
    place = {
        "inside": f"within the {inner} limits",
        "between": f"{side} the {inner} limits, within the {outer} ones",
        "outside": f"{side} the {outer} limits: look at these fits together",
    }[where]
    assert row.observed is not None and row.expected is not None and row.difference is not None
    fits = counted(row.n_fits, "fit")
    if row.unit == "share":
        told = f"{spoken_percent(row.observed)} of {fits}, {spoken_percent(row.expected)} expected of these riders"
        return f"{row.fitter_id}: {told} (ratio {row.ratio:.2f}, {row.ratio_low:.2f} to {row.ratio_high:.2f}); {place}."
    sign = "°" if row.unit == "deg" else row.unit
    told = f"{spoken(row.observed, 2, sign)} over {fits}, {spoken(row.expected, 2, sign)} expected of these riders"
    low, high = spoken(row.difference_low or 0, 2), spoken(row.difference_high or 0, 2, sign)
    return f"{row.fitter_id}: {told} (difference {spoken(row.difference, 2, sign)}, {low} to {high}); {place}."


def headline_of(rows: tuple[FitterRow, ...], settings: Settings) -> str:
    """Who lies outside the outer limits and on what, by id; and who has too few fits."""
    estimated = [row for row in rows if row.observed is not None]
    few = sorted({row.fitter_id for row in rows} - {row.fitter_id for row in estimated})
    few_words = f" Too few fits yet: {', '.join(few)}." if few else ""
    if not estimated:
        return f"No fitter can be compared yet.{few_words}"
    outside = [
        f"{row.fitter_id} on {NAMES[row.outcome].lower()} ({side})"
        for row in estimated
        for where, side in [_place(row)]
        if where == "outside"
    ]
    n = len({row.fitter_id for row in estimated})
    outer = f"the {100 * settings.fitters.outer_level:g} % limits"
    told = f"beyond {outer}: {'; '.join(sorted(outside))}" if outside else f"none lies beyond {outer}"
    return f"Of {counted(n, 'fitter')} compared with what is expected of their riders, {told}.{few_words}"
