"""How much does a knee differ from itself when nothing was changed?"""

from collections.abc import Iterator, Mapping
from dataclasses import fields, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data import SQL
from dashboard.questions.data.answers_noise import Noise, NoiseGroupRow, NoiseRow
from dashboard.questions.data.fitter_noise import FitterNoise, fitter_noise, more_words, scatters_more
from dashboard.questions.models.captures import Ints, Rows
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.frames import Frame
from dashboard.questions.models.study import study_of
from dashboard.questions.selection.calendar import period_of
from dashboard.questions.selection.every_fit import Remember, at_once, read_or_cut
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.recorded import FIGURES
from dashboard.questions.selection.scope import Scope, counted, names_of, scope_of
from dashboard.questions.selection.selection import Selection
from shared.errors import TooFewError
from shared.recorded import not_recorded
from shared.settings import Settings
from shared.statistics.agreement import MDC_FACTOR, RepeatAgreement, typical_error
from shared.units import UNITS
from shared.warehouse import Warehouse

OUTCOME_UNITS = {"tilt": "deg", "sway": "mm", "offset": "mm"}
SIDES = ("left", "right")
GROUPS = ("side", "fitter", "studio", "quarter")

METHOD = {
    "pairs": "consecutive captures of one knee in one session with the same setup",
    "typical_error": "SD of the differences / sqrt(2)",
    "mdc95": "1.96 * sqrt(2) * typical error",
    "by_fitter": "where fitters differ by more than chance, each has a log variance drawn toward the whole (by no more "
    "standard errors than the setting says); the ratio to the others, Benjamini-Hochberg over the fitters of an outcome",
    "without_pairs": "the residual SD of the pooled model stands in for the typical error, and the words say so",
}


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember | None = None) -> Noise:
    """Typical error, smallest real change and drift of each outcome from repeat captures, over all and by group."""
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    pairs = pairs_of(warehouse, scope, remember)
    rows = tuple(_or_absent(row_of(outcome, pairs, settings), scope, settings) for outcome in OUTCOME_UNITS)
    if any(row.typical_error is None for row in rows):
        study = study_of(warehouse, settings, remember or at_once)
        kept = study.selected(warehouse, selection, scope, remember or at_once)
        rows = tuple(_with_residual(row, study.frame(row.outcome, kept), settings) for row in rows)
    groups = tuple(_groups(pairs, names_of(warehouse, remember), settings))
    return Noise(scope.as_of, selection.as_dict(), scope.words, METHOD, rows[0].words, rows, groups)


def pairs_of(warehouse: Warehouse, scope: Scope, remember: Remember | None = None) -> Rows:
    """Every repeat pair of the scope, later less earlier, with rider, side, fitter and studio as numbers, and the day."""
    return read_or_cut(warehouse, scope, SQL / "noise_pairs.sql", remember)


def rows_of(warehouse: Warehouse, scope: Scope, settings: Settings, remember: Remember | None = None) -> tuple[NoiseRow, ...]:
    """The rows of every outcome from repeat captures alone, for the questions that need all of them."""
    pairs = pairs_of(warehouse, scope, remember)
    return tuple(row_of(outcome, pairs, settings) for outcome in OUTCOME_UNITS)


def row_of(outcome: str, pairs: Rows, settings: Settings) -> NoiseRow:
    """One outcome's row from repeat pairs, for the questions that need its noise."""
    return noise_row(outcome, pairs[outcome], pairs["rider"], settings)


def own_noise(outcome: str, pairs: Rows, settings: Settings) -> FitterNoise:
    """One outcome's noise with that of each fitter, for the questions that judge fits by it."""
    return fitter_noise(row_of(outcome, pairs, settings), pairs[outcome], pairs["rider"], pairs["fitter"], settings)


def fitter_of_fits(warehouse: Warehouse, remember: Remember) -> Ints:
    """Maps fits to fitters: at the place of each fit's number stands the number of its fitter, -1 where there is none."""

    def read() -> Ints:
        fits = warehouse.arrays(SQL / "noise_fitters.sql", {})
        numbers = np.full(int(fits["fit_no"].max(initial=-1)) + 1, -1, dtype=np.int64)
        numbers[fits["fit_no"]] = fits["fitter"]
        return numbers

    fitters: Ints = remember(("fitter of fits",), read)
    return fitters


def _groups(pairs: Rows, names: Mapping[str, list[str]], settings: Settings) -> Iterator[NoiseGroupRow]:
    """Each outcome's typical error at each side, fitter, studio and quarter; below the minimum the count only."""
    quarter = period_of(pairs["day"], "quarter")
    by_fitter = {outcome: own_noise(outcome, pairs, settings) for outcome in OUTCOME_UNITS}
    for group in GROUPS:
        number = quarter if group == "quarter" else pairs[group]
        # Sorted once, so that a level is a slice.
        order = np.argsort(number, kind="stable")
        sorted_pairs = {name: pairs[name][order] for name in (*OUTCOME_UNITS, "rider")}
        levels, first = np.unique(number[order], return_index=True)
        bounds = [*first.tolist(), len(order)]
        for level, (start, end) in zip(levels.tolist(), pairwise(bounds), strict=True):
            here = {name: column[start:end] for name, column in sorted_pairs.items()}
            name = _quarter_words(level) if group == "quarter" else {"side": SIDES, **names}[group][level]
            for outcome in OUTCOME_UNITS:
                row = row_of(outcome, here, settings)
                words = "" if row.typical_error is not None else "not enough yet"
                alike = {field.name: getattr(row, field.name) for field in fields(NoiseGroupRow) if hasattr(row, field.name)}
                made = NoiseGroupRow(**{**alike, "group": group, "level": name, "words": words})
                yield _beside_others(made, by_fitter[outcome], level, settings) if group == "fitter" else made


def _beside_others(row: NoiseGroupRow, noise: FitterNoise, fitter: int, settings: Settings) -> NoiseGroupRow:
    """A fitter's row with what their fits are judged by and, where pairs are enough, beside the others' captures."""
    own = noise.own.get(fitter)
    [judged_by] = noise.limits(np.array([fitter])).tolist()
    row = replace(row, judged_by=None if noise.mdc95 is None else judged_by)
    if own is None:
        return row
    more = scatters_more(own, settings)
    words = more_words(row.level, row.outcome, own) if more else row.words
    return replace(
        row, ratio=own.ratio, ratio_low=own.ratio_low, ratio_high=own.ratio_high, q_value=own.q_value, scatters_more=more,
        words=words,
    )  # fmt: skip


def _quarter_words(quarter: int) -> str:
    """Writes a quarter, counted from 1970, as in: 2026 quarter 2."""
    return f"{1970 + quarter // 4} quarter {1 + quarter % 4}"


def noise_row(outcome: str, differences: NDArray[np.float64], rider: NDArray[np.int64], settings: Settings) -> NoiseRow:
    """One outcome's row from the differences of its repeat pairs; without figures where there are too few."""
    unit, differences = OUTCOME_UNITS[outcome], differences.astype(float)
    present = np.isfinite(differences)
    differences, rider = differences[present], rider[present]
    n_riders = count_riders(rider)
    row = NoiseRow(outcome, unit, len(differences), n_riders, None, None, None, None, None, None, None, None, None, "")
    if len(differences) < settings.minimum.rows_shown:
        pairs = counted(len(differences), "repeat pair")
        words = f"{outcome.capitalize()}: not enough yet, {pairs}. Record a knee twice before a change to learn its noise."
        return _assumed(replace(row, words=words), settings)
    try:
        agreement = typical_error(differences, settings.intervals.level, rider)
    except TooFewError as refusal:
        words = f"{outcome.capitalize()}: {str(refusal)[:1].lower()}{str(refusal)[1:]}"
        return _assumed(replace(row, words=words), settings)
    return replace(
        row,
        typical_error=agreement.typical_error,
        typical_error_low=agreement.typical_error_low,
        typical_error_high=agreement.typical_error_high,
        mdc95=agreement.mdc95,
        mean_drift=agreement.mean_difference,
        mean_drift_low=agreement.mean_difference_low,
        mean_drift_high=agreement.mean_difference_high,
        limit_low=agreement.limit_low,
        limit_high=agreement.limit_high,
        words=_words(outcome, unit, agreement),
        known_by="repeats",
    )


def _assumed(row: NoiseRow, settings: Settings) -> NoiseRow:
    """Where repeats tell no typical error, the one that the studio assumes, if it assumes one."""
    error = settings.noise.assumed(row.outcome)
    if error is None:
        return row
    sign = UNITS[row.unit].sign
    words = (
        f"{row.words} The studio assumes a typical error of {spoken(error, 2, sign)} (a setting), so that a knee is taken to "
        f"have changed beyond {spoken(MDC_FACTOR * error, 1, sign)}."
    )
    return replace(row, typical_error=error, mdc95=MDC_FACTOR * error, words=words, known_by="assumed")


def absent_words(outcome: str, scope: Scope) -> str:
    """Why the noise of an outcome cannot be known where the studio does not record what it comes from; empty where it does."""
    absent = scope.recorded.lacking((*FIGURES[outcome], *FIGURES["repeat_capture"]))
    if not absent:
        return ""
    name = f"noise.assumed_{outcome}_{OUTCOME_UNITS[outcome]}"
    return (
        f"{not_recorded(absent)}: noise comes from two captures of a knee with the same setup. A studio may assume one in its "
        f"settings ({name})."
    )


def _or_absent(row: NoiseRow, scope: Scope, settings: Settings) -> NoiseRow:
    """The same, told as not recorded where the studio records none of what it comes from."""
    absent = "" if row.known_by == "repeats" else absent_words(row.outcome, scope)
    if not absent:
        return row
    return _assumed(replace(row, words=f"{row.outcome.capitalize()}: {absent}"), settings)


def _with_residual(row: NoiseRow, frame: Frame, settings: Settings) -> NoiseRow:
    """Where there are too few repeat pairs, what is left of the pooled model instead; it says so."""
    if row.typical_error is not None:
        return row
    _, fits = fitted(frame, None, settings)
    if fits is None:
        return row
    error = fits.pooled.variance_residual**0.5
    sign = UNITS[row.unit].sign
    instead = (
        f"In its place the pooled model's residual, {spoken(error, 2, sign)}: it holds what the model does not explain as "
        "well, so a typical error from repeat captures would be smaller."
    )
    return replace(row, typical_error=error, mdc95=MDC_FACTOR * error, words=f"{row.words} {instead}", known_by="model")


def _words(outcome: str, unit: str, agreement: RepeatAgreement) -> str:
    sign = UNITS[unit].sign
    interval = f"{spoken(agreement.typical_error_low, 2)} to {spoken(agreement.typical_error_high, 2, sign)}"
    return (
        f"A knee's {outcome} differs from itself by a typical error of {spoken(agreement.typical_error, 2, sign)} "
        f"({interval}, {counted(agreement.n_pairs, 'repeat pair')}); a single knee has surely changed only beyond "
        f"{spoken(agreement.mdc95, 1, sign)}."
    )
