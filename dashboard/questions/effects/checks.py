"""Do the effects hold as they are told: late effects, insole with shim, bends of the dose, drift by arch."""

from dashboard.questions.effects.answers_checks import CheckRow, Checks
from dashboard.questions.effects.checks_words import headline_of
from dashboard.questions.effects.effect_parts import OUTCOMES, EffectParts
from dashboard.questions.memory.remembering import Remember, at_once
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse

METHOD = {
    "joint": "both effect models with a column more for each check: shims on an insole, shims beyond the first, stance beyond "
    "the setting, and the capture order by arch; the larger p-value of both estimates",
    "late": "looked for where some effect is claimed: repeats (two captures with the same setup) after a change, their "
    "difference on what the change does by the pooled model, held for the place in the session; and the change since the "
    "capture before as a column of both models; the largest of the three one-sided p-values, CR2 by rider",
    "q_value": "Benjamini-Hochberg: the four checks of an outcome are a family, late effects of all outcomes another; those "
    "that qualify a verdict pay for the other outcomes as the levels of a split do, by what is claimed over all fits",
    "allowed_for": "both models allow for a late effect or a drift by arch that is found over all fits, in every selection",
}


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    remember: Remember = at_once,
    outcomes: tuple[str, ...] = OUTCOMES,
) -> Checks:
    """The checks of the effects, one row for each outcome and check."""
    parts_of = EffectParts(warehouse, selection, settings, remember)
    scope = parts_of.scope()
    scope.require_fits()
    rows: list[CheckRow] = []
    if parts_of.n_captures():
        rows = [row for outcome in OUTCOMES if outcome in outcomes for row in parts_of.checks(outcome)]
    return Checks(
        **scope.head(selection),
        method={**METHOD, "found_below_q": settings.checks.found_below_q, "late_below_q": settings.checks.late_below_q},
        **scope.counts,
        headline=headline_of(rows),
        checks=tuple(rows),
    )
