"""What moved the knee: each support's effect on tilt, sway and offset by two estimates and the bracket between them."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dashboard.questions import verdict
from dashboard.questions.answers import EffectRow, Effects
from dashboard.questions.scope import SQL, fragments, scope_of
from dashboard.questions.selection import Selection
from dashboard.questions.supports import NOT_EXAMINED, ORDER, SUPPORTS, Counts, Design, Rows, SupportColumn, build_design
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.bracket import bracket
from shared.statistics.estimability import not_estimable
from shared.statistics.intervals import TermEstimate
from shared.statistics.mixed_model import fit_mixed_model
from shared.statistics.multiplicity import benjamini_hochberg
from shared.statistics.within_knee import fit_within_knee
from shared.warehouse import Warehouse

OUTCOMES = {"tilt": "deg", "sway": "mm", "offset": "mm"}

METHOD = {
    "pooled": "linear mixed model, REML: supports, exam, capture order, visit kind; random intercepts for rider, knee, "
    "visit; covariance clustered by rider",
    "within": "least squares on differences from each session-knee's mean, with capture order; covariance clustered by rider",
    "bracket": "from the lower to the higher end of both intervals",
    "q_value": "Benjamini-Hochberg within an outcome, on the larger p-value of the two estimates",
}


@dataclass(frozen=True)
class _Pair:
    """The two fits of one outcome by term, and the interval level."""

    pooled: dict[str, TermEstimate]
    within: dict[str, TermEstimate]
    level: float


def ask(warehouse: Warehouse, selection: Selection, settings: Settings) -> Effects:
    """The effect of each support on each outcome; with a split, at each of its levels as well."""
    scope = scope_of(warehouse, selection, settings)
    scope.require_fits()
    rows = warehouse.arrays(SQL / "effects_rows.sql", scope.parameters, **fragments())
    found: list[EffectRow] = []
    for outcome in OUTCOMES:
        found += _outcome_rows(rows, outcome, None, settings)
    if selection.split:
        for outcome in OUTCOMES:
            found += _outcome_rows(rows, outcome, selection.split, settings)
    return Effects(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=scope.words,
        method={**METHOD, "level": settings.intervals.level},
        n_fits=scope.n_fits,
        n_riders=scope.n_riders,
        n_captures=len(rows["rider"]),
        headline=_headline(found),
        effects=tuple(found),
    )


def _outcome_rows(rows: Rows, outcome: str, split: str | None, settings: Settings) -> list[EffectRow]:
    present = np.isfinite(rows[outcome].astype(float))
    kept = {name: column[present] for name, column in rows.items()}
    if not present.any():
        return []
    design = build_design(kept, split)
    tangled = _tangled(design, kept)
    if any(_is_order(partner) for partners in tangled.values() for partner in partners):
        design = build_design(kept, split, straight_order=True)
        tangled = _tangled(design, kept)
    refusals = _refusals(design, tangled, settings)
    pair: _Pair | None = None
    if len(refusals) < len(design.columns):
        try:
            pair = _fit(design, kept[outcome].astype(float), kept, settings)
        except StatisticsError as refusal:
            refusals = {column.term: str(refusal) for column in design.columns}
    made = [
        _row(column, counts, outcome, split, refusals.get(column.term), pair)
        for column, counts in zip(design.columns, design.counts, strict=True)
        if column.level != NOT_EXAMINED
    ]
    return _with_q_values(made)


def _tangled(design: Design, rows: Rows) -> dict[str, tuple[str, ...]]:
    """Supports whose changes within a knee cannot be told from others, or from the capture order, by term."""
    changed = [index for index, counts in enumerate(design.counts) if counts.n_changes]
    terms = tuple(design.columns[index].term for index in changed)
    matrix = np.column_stack([design.supports[:, changed], design.within_others])
    found = not_estimable(matrix, (*terms, *design.within_terms), rows["session_knee"])
    return {term: partners for term, partners in found.items() if term in terms}


def _is_order(term: str) -> bool:
    return term.split()[0] == ORDER


def _refusals(design: Design, tangled: dict[str, tuple[str, ...]], settings: Settings) -> dict[str, str]:
    """Why a support carries no figure, by term."""
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
            refused[column.term] = verdict.changed_together(column.support, others, any(map(_is_order, partners)))
    return refused


def _fit(design: Design, outcome: NDArray[np.float64], rows: Rows, settings: Settings) -> _Pair:
    terms = tuple(column.term for column in design.columns)
    varied = np.ptp(design.supports, axis=0) > 0
    changed = np.array([counts.n_changes > 0 for counts in design.counts])
    pooled = fit_mixed_model(
        outcome,
        np.column_stack([design.supports[:, varied], design.pooled_others]),
        (*_kept(terms, varied), *design.pooled_terms),
        rows["rider"],
        rows["knee"],
        rows["visit"],
    )
    within = fit_within_knee(
        outcome,
        np.column_stack([design.supports[:, changed], design.within_others]),
        (*_kept(terms, changed), *design.within_terms),
        rows["session_knee"],
        rows["rider"],
    )
    level = settings.intervals.level
    return _Pair(pooled.table(level), within.table(level), level)


def _kept(terms: tuple[str, ...], mask: NDArray[np.bool_]) -> tuple[str, ...]:
    return tuple(term for term, keep in zip(terms, mask, strict=True) if keep)


def _row(
    column: SupportColumn, counts: Counts, outcome: str, split: str | None, refusal: str | None, pair: _Pair | None
) -> EffectRow:
    unit = OUTCOMES[outcome]
    row = EffectRow(
        outcome=outcome, support=column.support, unit=unit, split=split, level=column.level,
        n_riders=counts.n_riders, n_changes=counts.n_changes,
        pooled=None, pooled_low=None, pooled_high=None, within=None, within_low=None, within_high=None,
        bracket_low=None, bracket_high=None, q_value=None, words=refusal or "",
    )  # fmt: skip
    if refusal or pair is None:
        return row
    pooled, within = pair.pooled[column.term], pair.within[column.term]
    found = bracket(pooled, within, pair.level)
    figures = verdict.Figures(pooled.estimate, within.estimate, found.low, found.high, found.disagree)
    return replace(
        row,
        pooled=pooled.estimate, pooled_low=pooled.low, pooled_high=pooled.high,
        within=within.estimate, within_low=within.low, within_high=within.high,
        bracket_low=found.low, bracket_high=found.high,
        # The larger of both p-values: a change is claimed only where each estimate would claim it.
        q_value=max(pooled.p_value, within.p_value),
        words=verdict.verdict(column.support, outcome, unit, figures),
    )  # fmt: skip


def _with_q_values(rows: list[EffectRow]) -> list[EffectRow]:
    """Adjusts the p-values of one outcome's rows as one family."""
    adjusted = iter(benjamini_hochberg([row.q_value for row in rows if row.q_value is not None]))
    return [row if row.q_value is None else replace(row, q_value=next(adjusted)) for row in rows]


def _headline(found: list[EffectRow]) -> str:
    """The support that moved the tilt most surely, in its own words."""
    shown = [row for row in found if row.split is None and row.outcome == "tilt" and row.pooled is not None]
    if not shown:
        return "No support was changed often enough to say what it did to the tilt."
    clear = [row for row in shown if row.bracket_low * row.bracket_high > 0]  # type: ignore[operator]
    first = min(clear or shown, key=lambda row: (SUPPORTS.index(row.support) != SUPPORTS.index("shim"), row.q_value or 0.0))
    return first.words
