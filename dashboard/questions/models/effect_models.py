"""Both models on the rows of one outcome: refusals, fits and brackets, one row a support and level."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.memory.side_by_side import both
from dashboard.questions.models import verdict
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.captures import Rows, captures_of_rows
from dashboard.questions.models.claims import Found, Noted, claimed
from dashboard.questions.models.forms import PLAIN
from dashboard.questions.models.frames import HELD, NOT_EXAMINED, Frame, frame_of, straight_columns
from dashboard.questions.models.supports import Counts, Design, SupportColumn, design_of
from dashboard.questions.models.thirds import narrowed, thirds_of
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.bracket import Bracket, bracket, difference_errors
from shared.statistics.intervals import TermEstimate
from shared.statistics.mixed.answers import MixedFit, WithinFit
from shared.statistics.mixed.fits import fit_mixed_cells, fit_within_cells, within_ties
from shared.statistics.told import ROUGH_BELOW_DF, told_interval

OUTCOMES = {"tilt": "deg", "sway": "mm", "offset": "mm", "off_neutral": "deg"}


@dataclass(frozen=True)
class Fits:
    """The design, the two fits of one outcome, and the level of their intervals."""

    design: Design
    pooled: MixedFit
    within: WithinFit
    level: float

    @property
    def ratios(self) -> dict[str, float]:
        """Of the variances of rider, knee and visit to the residual one."""
        fit = self.pooled
        variances = {"rider": fit.variance_rider, "knee": fit.variance_knee, "visit": fit.variance_visit}
        return {name: variance / fit.variance_residual for name, variance in variances.items()}

    @cached_property
    def pooled_table(self) -> dict[str, TermEstimate]:
        return self.pooled.table(self.level)

    @cached_property
    def within_table(self) -> dict[str, TermEstimate]:
        return self.within.table(self.level)

    @cached_property
    def _difference_errors(self) -> dict[str, float]:
        known = set(self.pooled.terms)
        return difference_errors(self.pooled, self.within, [term for term in self.within.terms if term in known])

    def bracketed(self, term: str) -> Bracket:
        """The bracket of a term that both fits tell."""
        return bracket(self.pooled_table[term], self.within_table[term], self.level, self._difference_errors[term])


def outcome_rows(rows: Rows, outcome: str, split: str | None, settings: Settings) -> list[EffectRow]:
    """The rows of one outcome, overall or at each level of a split; without figures where they may not be shown."""
    return fitted_rows(rows, outcome, split, settings)[0]


def fitted_rows(rows: Rows, outcome: str, split: str | None, settings: Settings) -> tuple[list[EffectRow], Fits | None]:
    """The same from captures row by row, with the fits behind them; the outcome's rows are one family."""
    frame = frame_of(captures_of_rows(rows), outcome)
    unjudged, fits = fitted(frame, split, settings)
    if fits and split is None:
        unjudged = narrowed(unjudged, thirds_of(frame, fits.within.terms), PLAIN, settings)
    return claimed(unjudged, settings), fits


def fitted(
    frame: Frame, split: str | None, settings: Settings, begun: Mapping[str, float] | None = None
) -> tuple[list[Found], Fits | None]:
    """What one outcome's captures tell before its family is known, and the two fits behind it where there are any; begun: as
    in fit_design."""
    if not len(frame.captures):
        return [], None
    design, refusals = _designed(frame, split, settings)
    fits: Fits | None = None
    if len(refusals) < len(design.columns):
        try:
            told = {column.term for column in design.columns if column.level != NOT_EXAMINED} - set(refusals)
            fits = fit_design(design, settings, begun, told)
        except StatisticsError as refusal:
            refusals = {column.term: str(refusal) for column in design.columns}
    made = [
        _effect_row(column, counts, frame.outcome, split, refusals.get(column.term), fits)
        for column, counts in zip(design.columns, design.counts, strict=True)
        if column.level != NOT_EXAMINED
    ]
    return made, fits


def pooled_at_levels(
    frame: Frame, split: str, settings: Settings, begun: Mapping[str, float]
) -> Iterator[tuple[SupportColumn, float, float]]:
    """The pooled estimate and its standard error of each support at each level of a split that `fitted` would tell, and nothing
    else, which costs a fifth; begun: as in fit_design. Raises StatisticsError."""
    design, refusals = _designed(frame, split, settings)
    told = [column for column in design.columns if column.level not in (None, NOT_EXAMINED) and column.term not in refusals]
    if not told:
        return
    fit = fit_mixed_cells(design.frame.cells, design.pooled, np.zeros(len(design.pooled.names), dtype=bool), begun)
    errors = dict(zip(fit.terms, np.sqrt(np.diag(fit.robust_covariance)).tolist(), strict=True))
    estimates = dict(zip(fit.terms, fit.estimate.tolist(), strict=True))
    yield from ((column, estimates[column.term], errors[column.term]) for column in told if errors.get(column.term, 0.0) > 0)


def _designed(frame: Frame, split: str | None, settings: Settings) -> tuple[Design, dict[str, str]]:
    """The design, and why a support carries no figure, by term."""
    design = design_of(frame, split)
    tangled = _tangled(design)
    if any(_is_held(partner) for partners in tangled.values() for partner in partners):
        design = design_of(frame_of(frame.captures, frame.outcome, straight_columns()), split)
        tangled = _tangled(design)
    return design, _refusals(design, tangled, settings)


def _tangled(design: Design) -> dict[str, tuple[str, ...]]:
    """Supports whose changes within a knee cannot be told from others, or from the capture order, by term."""
    ties = within_ties(design.frame.cells, design.within.kept(_changed(design)))
    terms = {column.term for column in design.columns}
    return {term: partners for term, partners in ties.items() if term in terms}


def _changed(design: Design) -> NDArray[np.bool_]:
    """Flags the within-knee terms, all but the supports that were never changed."""
    changed = np.ones(len(design.within.names), dtype=bool)
    changed[: len(design.columns)] = [counts.n_changes > 0 for counts in design.counts]
    return changed


def _is_held(term: str) -> bool:
    return term.split(maxsplit=1)[0] in HELD


def _refusals(design: Design, tangled: dict[str, tuple[str, ...]], settings: Settings) -> dict[str, str]:
    """Says, by term, why a support carries no figure."""
    minimum = settings.minimum
    names = {column.term: column.support for column in design.columns}
    refused: dict[str, str] = {}
    for column, counts in zip(design.columns, design.counts, strict=True):
        if counts.n_changes == 0:
            refused[column.term] = verdict.not_changed(column.support)
        elif counts.n_riders < minimum.riders_per_effect or counts.n_changes < minimum.changes_per_type:
            need = f"{minimum.changes_per_type} changes in {minimum.riders_per_effect} riders"
            refused[column.term] = verdict.not_enough(column.support, counts.n_changes, counts.n_riders, need)
        elif partners := tangled.get(column.term):
            others = [names[partner] for partner in partners if partner in names]
            refused[column.term] = verdict.changed_together(column.support, others, any(map(_is_held, partners)))
    return refused


def fit_design(
    design: Design, settings: Settings, begun: Mapping[str, float] | None = None, told: Collection[str] | None = None
) -> Fits:
    """Both models on one design; begun: ratios of a like model, where the search begins; told: the terms of which there will be
    intervals, those of all columns where None. Raises StatisticsError."""
    cells = design.frame.cells
    told = {column.term for column in design.columns} if told is None else told
    reported = np.array([name in told for name in design.pooled.names])

    def fit_within() -> WithinFit:
        free = _changed(design)
        # What is tied is left out one term at a time, so that the others keep their meaning: each is held for what is left.
        while tied := within_ties(cells, design.within.kept(free)):
            free[design.within.names.index(list(tied)[-1])] = False
        return fit_within_cells(cells, design.within.kept(free), reported[: len(free)][free])

    pooled, within = both(
        lambda: fit_mixed_cells(cells, design.pooled, reported, begun), fit_within, n_rows=len(design.frame.captures)
    )
    return Fits(design, pooled, within, settings.intervals.level)


def _effect_row(
    column: SupportColumn, counts: Counts, outcome: str, split: str | None, refusal: str | None, fits: Fits | None
) -> Found:
    row = EffectRow(
        outcome=outcome, support=column.support, unit=OUTCOMES[outcome], split=split if column.level else None,
        level=column.level, n_riders=counts.n_riders, n_changes=counts.n_changes,
        pooled=None, pooled_low=None, pooled_high=None, within=None, within_low=None, within_high=None,
        bracket_low=None, bracket_high=None, q_value=None, words=refusal or "",
    )  # fmt: skip
    if refusal or fits is None:
        return Found(row)
    pooled, within = fits.pooled_table[column.term], fits.within_table[column.term]
    if pooled.df <= 0 or within.df <= 0:
        return Found(replace(row, words=verdict.one_rider(column.support)))
    bracketed = fits.bracketed(column.term)
    interval = told_interval(bracketed.low, bracketed.high)
    row = replace(
        row,
        pooled=pooled.estimate, pooled_low=pooled.low, pooled_high=pooled.high,
        within=within.estimate, within_low=within.low, within_high=within.high,
        bracket_low=bracketed.low, bracket_high=bracketed.high,
        told_low=interval.low, told_high=interval.high, told_by=interval.by,
        is_rough=min(pooled.df, within.df) < ROUGH_BELOW_DF,
    )  # fmt: skip
    # The larger of both p-values: a change is claimed only where each estimate would claim it.
    return Found(
        row, max(pooled.p_value, within.p_value), Noted(bracketed.disagree, bracketed.reach, df=min(pooled.df, within.df))
    )
