"""What moved the knee: each support's effect on tilt, sway, offset and distance from neutral, by two estimates and the
bracket between them; by type, by dose, by knee, and whether it rests on one rider."""

from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from typing import Any

from dashboard.questions.effects.answers_effects import (
    DoseRow,
    Effects,
    FamilyRow,
    InfluenceRow,
    NeutralRow,
    ResidualRow,
    ResponderRow,
)
from dashboard.questions.effects.effect_parts import OUTCOMES, EffectParts
from dashboard.questions.effects.nearer import headline_of
from dashboard.questions.memory.remembering import Remember, at_once
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.recorded import TILT
from dashboard.questions.selection.selection import Selection
from shared.recorded import cost_words
from shared.rig.care import Watched, concerning, neutral_moved, unclaimed
from shared.settings import Settings
from shared.warehouse import Warehouse

METHOD = {
    "pooled": "linear mixed model, REML: supports, exam, capture order, visit kind; random intercepts for rider, knee, "
    "visit; covariance clustered by rider, CR2, t on Satterthwaite degrees of freedom",
    "within": "least squares on differences from each session-knee's mean, with capture order; covariance as above",
    "bracket": "from the lower to the higher end of both intervals",
    "sequential": "two-stage least squares on forward orthogonal deviations within each session-knee, changes as foreseen from "
    "setup, exam and earlier outcomes; each rider left out in turn, t by the riders' shares; over all supports alone",
    "told": "the interval that is told: the bracket of the very row; where the two estimates differ by more than their noise "
    "and the checks of the sequential one pass (strength 23.1, over-identification and persisting noise p 0.05), what the "
    "bracket shares with its 99 % interval",
    "q_value": "Benjamini-Hochberg on the larger p-value of both estimates: over all supports and outcomes; by level or dose "
    "over those of an outcome, times outcomes told by outcomes in which something is claimed",
    "claim": "a direction is claimed where the told interval lies on one side of zero and q is below 0.05",
    "shrunk": "pooled estimates of a split's levels drawn toward the overall one (random effects, Paule-Mandel)",
    "off_neutral": "distance of the tilt from neutral by arrival direction, regression to the mean taken off at arrival",
    "influence": "each estimate with any one rider left out, to first order",
}


PARTS = ("overall", "directions", "split", "dose", "responders", "influence", "residuals")
# What a row claims by; without them it has figures and no claim.
_CLAIMS_BY = ("told_low", "told_high", "told_by", "q_value", "line_q_value")
_CLAIMING = ("effects", "families", "dose", "off_neutral", "responders")


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    remember: Remember = at_once,
    parts: tuple[str, ...] = PARTS,
    outcomes: tuple[str, ...] = OUTCOMES,
    rig: Watched | None = None,
) -> Effects:
    """The effect of each support on each outcome; with a split, at each of its levels as well.

    parts: what of the answer is asked for, out of PARTS; the lists of the others stay empty. overall: `effects` without a
    level; directions: `effects` by arrival direction and `off_neutral`; split: `effects` by level and `families`. outcomes:
    those of every part but directions and responders. The headline is on the distance from neutral by arrival direction,
    whatever is asked for, so that the directions are always computed, and alone where nothing else is asked for. Of the other
    parts all outcomes are judged as one family, so that each is computed. What is asked for twice is computed once. rig: what
    is found of the rigs; where left and right are exchanged, no row claims anything, and where a zero moves, none on the
    distance from neutral, nor the headline.
    """
    dates = (selection.date_from, selection.date_to)
    findings = concerning(rig, selection.studio, *dates)
    nothing_claimed = unclaimed(findings, "effect of a support")
    parts_of = EffectParts(warehouse, selection, settings, remember, claims=not nothing_claimed)
    scope = parts_of.scope()
    scope.require_fits()
    n_captures = parts_of.n_captures()
    is_moved = "" if nothing_claimed else neutral_moved(findings, *dates)
    not_recorded = f"Not recorded here: {cost_words(TILT)}" if scope.recorded.instead("off_neutral") else ""
    headline = nothing_claimed or is_moved or not_recorded
    lists = _Lists()
    by_direction: tuple[EffectRow, ...] = ()
    if n_captures:
        # A sentence that claims nothing carries no check either: none is made for it.
        parts_of.make_answer(with_checks=not headline)
        by_direction, _ = parts_of.directions()
        _fill(lists, parts_of, parts, outcomes)
    answer = Effects(
        **scope.head(selection),
        method={**METHOD, "level": settings.intervals.level},
        **scope.counts,
        n_captures=n_captures,
        headline=headline or headline_of(by_direction, lambda row: parts_of.carried(replace(row, outcome="tilt"))),
        effects=tuple(lists.effects),
        families=tuple(lists.families),
        dose=tuple(lists.dose),
        responders=tuple(lists.responders),
        off_neutral=tuple(lists.off_neutral),
        influence=tuple(lists.influence),
        residuals=tuple(lists.residuals),
    )
    if nothing_claimed:
        return _without_claims(answer, nothing_claimed, lambda row: True)
    if is_moved:
        return _without_claims(answer, is_moved, lambda row: isinstance(row, NeutralRow) or row.outcome == "off_neutral")
    return answer


def _without_claims(answer: Effects, words: str, concerns: Callable[[Any], bool]) -> Effects:
    """The answer in which the rows that this concerns keep their estimates and claim nothing; `words` say why."""
    changed: dict[str, Any] = {
        name: tuple(_without_claim(row, words) if concerns(row) else row for row in getattr(answer, name)) for name in _CLAIMING
    }
    return replace(answer, **changed)


def _without_claim(row: Any, words: str) -> Any:
    changed = {each.name: None for each in fields(row) if each.name in _CLAIMS_BY}
    return replace(row, **changed, words=words)


@dataclass
class _Lists:
    """The lists of an answer as they grow."""

    effects: list[EffectRow] = field(default_factory=list)
    families: list[FamilyRow] = field(default_factory=list)
    dose: list[DoseRow] = field(default_factory=list)
    responders: list[ResponderRow] = field(default_factory=list)
    off_neutral: list[NeutralRow] = field(default_factory=list)
    influence: list[InfluenceRow] = field(default_factory=list)
    residuals: list[ResidualRow] = field(default_factory=list)


def _fill(lists: _Lists, parts_of: EffectParts, parts: tuple[str, ...], outcomes: tuple[str, ...]) -> None:
    asked = [outcome for outcome in OUTCOMES if outcome in outcomes]
    overall = parts_of.effects(asked) if "overall" in parts else {}
    dose = parts_of.each(parts_of.dose, asked) if "dose" in parts else {}
    for outcome in asked:
        if "overall" in parts:
            lists.effects += overall[outcome]
        if "dose" in parts:
            lists.dose += dose[outcome]
        if "influence" in parts:
            lists.influence += parts_of.overall(outcome).influence
        if "residuals" in parts:
            lists.residuals += parts_of.residuals(outcome)
    if "directions" in parts:
        by_direction, off_neutral = parts_of.directions()
        lists.effects += by_direction
        lists.off_neutral += off_neutral
    if "responders" in parts:
        lists.responders += parts_of.responders()
    if "split" in parts and parts_of.selection.split:
        for rows, families in parts_of.each(parts_of.split, outcomes).values():
            lists.effects += rows
            lists.families += families
