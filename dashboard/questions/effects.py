"""What moved the knee: each support's effect on tilt, sway, offset and distance from neutral, by two estimates and the
bracket between them; by type, by dose, by knee, and whether it rests on one rider."""

from dataclasses import dataclass, field

from dashboard.questions import noise
from dashboard.questions.answers import EffectRow, Effects
from dashboard.questions.answers_effects import DoseRow, FamilyRow, InfluenceRow, NeutralRow, ResidualRow, ResponderRow
from dashboard.questions.dose import dose_rows
from dashboard.questions.effect_models import fitted_rows
from dashboard.questions.families import shrunken
from dashboard.questions.influence import influence_rows, residual_rows, riders_by_code
from dashboard.questions.off_neutral import neutral_rows, with_distance
from dashboard.questions.responders import responder_rows
from dashboard.questions.scope import SQL, Scope, counted, fragments, scope_of
from dashboard.questions.selection import Selection
from dashboard.questions.supports import SUPPORTS, Rows
from dashboard.questions.verdict import claim
from shared.settings import Settings
from shared.warehouse import Warehouse

OUTCOMES = ("tilt", "sway", "offset")

METHOD = {
    "pooled": "linear mixed model, REML: supports, exam, capture order, visit kind; random intercepts for rider, knee, "
    "visit; covariance clustered by rider, CR2, t on Satterthwaite degrees of freedom",
    "within": "least squares on differences from each session-knee's mean, with capture order; covariance as above",
    "bracket": "from the lower to the higher end of both intervals",
    "q_value": "Benjamini-Hochberg within an outcome, on the larger p-value of the two estimates",
    "shrunk": "pooled estimates of a split's levels drawn toward the overall one (random effects, Paule-Mandel)",
    "off_neutral": "distance of the tilt from neutral by arrival direction, regression to the mean taken off at arrival",
    "influence": "each estimate with any one rider left out, to first order",
}


@dataclass
class _Found:
    """The lists of an answer as they grow."""

    effects: list[EffectRow] = field(default_factory=list)
    families: list[FamilyRow] = field(default_factory=list)
    dose: list[DoseRow] = field(default_factory=list)
    responders: list[ResponderRow] = field(default_factory=list)
    off_neutral: list[NeutralRow] = field(default_factory=list)
    influence: list[InfluenceRow] = field(default_factory=list)
    residuals: list[ResidualRow] = field(default_factory=list)


def ask(warehouse: Warehouse, selection: Selection, settings: Settings) -> Effects:
    """The effect of each support on each outcome; with a split, at each of its levels as well."""
    scope = scope_of(warehouse, selection, settings)
    scope.require_fits()
    rows = warehouse.arrays(SQL / "effects_rows.sql", scope.parameters, **fragments())
    found = _Found()
    if len(rows["rider"]):
        _overall(warehouse, scope, rows, settings, found)
    if selection.split and len(rows["rider"]):
        for outcome in OUTCOMES:
            split_rows, families = shrunken(fitted_rows(rows, outcome, selection.split, settings)[0], settings)
            found.effects += [row for row in split_rows if row.level is not None]
            found.families += families
    return Effects(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=scope.words,
        method={**METHOD, "level": settings.intervals.level},
        n_fits=scope.n_fits,
        n_riders=scope.n_riders,
        n_captures=len(rows["rider"]),
        headline=_headline(found.effects),
        effects=tuple(found.effects),
        families=tuple(found.families),
        dose=tuple(found.dose),
        responders=tuple(found.responders),
        off_neutral=tuple(found.off_neutral),
        influence=tuple(found.influence),
        residuals=tuple(found.residuals),
    )


def _overall(warehouse: Warehouse, scope: Scope, rows: Rows, settings: Settings, found: _Found) -> None:
    names = riders_by_code(rows)
    for outcome in OUTCOMES:
        effects, fits = fitted_rows(rows, outcome, None, settings)
        found.effects += effects
        found.dose += dose_rows(rows, outcome, fits, settings)
        if fits is not None:
            found.influence += influence_rows(outcome, fits, names)
            found.residuals += residual_rows(outcome, fits, rows)
    noise_of = {row.outcome: row for row in noise.rows_of(warehouse, scope, settings)}
    typical_error = noise_of["tilt"].typical_error
    distanced = with_distance(rows, typical_error)
    by_direction, _ = fitted_rows(distanced, "off_neutral", "arrival_direction", settings)
    found.effects += [row for row in by_direction if row.level is not None]
    found.off_neutral += neutral_rows(rows, typical_error, settings)
    for outcome in ("tilt", "sway"):
        found.responders += responder_rows(rows, noise_of[outcome], settings)


def _headline(found: list[EffectRow]) -> str:
    """What one more shim did to the tilt where that is clear, otherwise the support that moved the tilt most surely."""
    shown = [row for row in found if row.split is None and row.outcome == "tilt" and row.bracket_low is not None]
    if not shown:
        return "No support was changed often enough to say what it did to the tilt."
    clear = [row for row in shown if (row.bracket_low or 0.0) * (row.bracket_high or 0.0) > 0]
    first = min(clear or shown, key=lambda row: (row.support != "shim", row.q_value or 0.0, SUPPORTS.index(row.support)))
    told = claim(first.support, first.outcome, first.unit, first.bracket_low or 0.0, first.bracket_high or 0.0)
    return f"{told}, in {counted(first.n_riders, 'rider')} in whom it was changed."
