"""The parts of the effects question, each computed once a selection and remembered apart: a page waits for what it shows."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

from dashboard.questions.data import noise
from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.effects.answers_effects import DoseRow, FamilyRow, InfluenceRow, NeutralRow, ResidualRow, ResponderRow
from dashboard.questions.effects.dose import dose_rows, in_families
from dashboard.questions.effects.families import compared, shrunken
from dashboard.questions.effects.influence import influence_rows, residual_rows, riders_by_code
from dashboard.questions.effects.off_neutral import neutral_rows, with_distance
from dashboard.questions.effects.responders import responder_rows
from dashboard.questions.memory.remembering import Remember
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.captures import Captures, Flags
from dashboard.questions.models.claims import Found, claimed, price_of
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.frames import frame_with_outcome
from dashboard.questions.models.study import Study, study_of
from dashboard.questions.selection.scope import Scope, scope_of
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse

OUTCOMES = ("tilt", "sway", "offset")
Ratios = dict[str, float]
_Made = TypeVar("_Made")
# Below so many captures three threads cost more than they save.
_SIDE_BY_SIDE_FROM = 50_000


@dataclass(frozen=True)
class Overall:
    """One outcome over all of a selection. found: its rows before their family is known; slopes: the pooled estimate of each
    support that both models tell; within: the within-knee estimates by term; ratios: variances of rider, knee and visit
    beside the residual one, None without a fit."""

    found: tuple[Found, ...]
    influence: tuple[InfluenceRow, ...]
    slopes: dict[str, float]
    within: dict[str, float]
    ratios: Ratios | None


class EffectParts:
    """One selection's parts. Thread-safe where `remember` is."""

    def __init__(self, warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember) -> None:
        self._warehouse, self.selection, self._settings, self._remember = warehouse, selection, settings, remember
        self._plain = replace(selection, split=None)

    def scope(self) -> Scope:
        return self._part("scope", lambda: scope_of(self._warehouse, self._plain, self._settings))

    def n_captures(self) -> int:
        return self._part("n_captures", lambda: int(self._study.captures.n @ self._kept))

    def overall(self, outcome: str) -> Overall:
        return self._part(f"overall {outcome}", lambda: self._overall(outcome))

    def effects(self) -> dict[str, tuple[EffectRow, ...]]:
        """The rows of each outcome over all of the selection; the supports and outcomes together are one family."""

        def make() -> dict[str, tuple[EffectRow, ...]]:
            overall = self._each_overall()
            rows = claimed([found for one in overall for found in one.found], self._settings)
            return {outcome: tuple(row for row in rows if row.outcome == outcome) for outcome in OUTCOMES}

        return self._part("effects", make)

    def _each_overall(self) -> list[Overall]:
        """Every outcome; where there are many captures, side by side: the sums behind them leave the interpreter free."""
        if self.n_captures() < _SIDE_BY_SIDE_FROM:
            return [self.overall(outcome) for outcome in OUTCOMES]
        _ = self._study, self._kept  # read once, by this thread: a cursor belongs to one
        with ThreadPoolExecutor(len(OUTCOMES)) as pool:
            # In the reader's context, so that they stop where the reader has gone on.
            begun = [pool.submit(copy_context().run, self.overall, outcome) for outcome in OUTCOMES]
            return [found.result() for found in begun]

    def _overall(self, outcome: str) -> Overall:
        found, fits = fitted(self._study.frame(outcome, self._kept), None, self._settings, self._begun(outcome))
        if fits is None:
            return Overall(tuple(found), (), {}, {}, None)
        influence = influence_rows(outcome, fits, riders_by_code(self._study.captures))
        slopes = {term: told.estimate for term, told in fits.pooled_table.items() if term in fits.within_table}
        within = {term: told.estimate for term, told in fits.within_table.items()}
        return Overall(tuple(found), tuple(influence), slopes, within, fits.ratios)

    def _begun(self, outcome: str) -> Ratios | None:
        """Where the search begins: the ratios of all fits, which no selection's are far from."""
        return self._of_all.overall(outcome).ratios if self._of_all else None

    def dose(self, outcome: str) -> tuple[DoseRow, ...]:
        def make() -> tuple[DoseRow, ...]:
            overall, frame = self.overall(outcome), self._study.frame(outcome, self._kept)
            found = list(dose_rows(frame, overall.slopes, self._settings, overall.ratios))
            return tuple(in_families(found, self._price(outcome)))

        return self._part(f"dose {outcome}", make)

    def residuals(self, outcome: str) -> tuple[ResidualRow, ...]:
        def make() -> tuple[ResidualRow, ...]:
            return tuple(residual_rows(self._captures, outcome, self.overall(outcome).within))

        return self._part(f"residuals {outcome}", make)

    def noise(self) -> dict[str, NoiseRow]:
        """The noise of each outcome from repeat captures."""

        def make() -> dict[str, NoiseRow]:
            return {row.outcome: row for row in noise.rows_of(self._warehouse, self.scope(), self._settings)}

        return self._part("noise", make)

    def directions(self) -> tuple[tuple[EffectRow, ...], tuple[NeutralRow, ...]]:
        """The effects on the distance from neutral by arrival direction, and how the distance changed."""
        effects, neutral, _ = self._directions()
        return effects, neutral

    def _directions(self) -> tuple[tuple[EffectRow, ...], tuple[NeutralRow, ...], Ratios | None]:
        def make() -> tuple[tuple[EffectRow, ...], tuple[NeutralRow, ...], Ratios | None]:
            typical_error = self.noise()["tilt"].typical_error
            of_tilt = self._study.frame("tilt", self._kept)
            frame = frame_with_outcome(of_tilt, with_distance(of_tilt.captures, typical_error), "off_neutral")
            begun = self._of_all._directions()[-1] if self._of_all else None
            found, fits = fitted(frame, "arrival_direction", self._settings, begun)
            rows = claimed([one for one in found if one.row.level is not None], self._settings)
            neutral = neutral_rows(self._captures, typical_error, self._settings)
            return tuple(rows), tuple(neutral), fits.ratios if fits else None

        return self._part("directions", make)

    def responders(self) -> tuple[ResponderRow, ...]:
        def make() -> tuple[ResponderRow, ...]:
            noise_of = self.noise()
            found = (responder_rows(self._captures, noise_of[outcome], self._settings) for outcome in ("tilt", "sway"))
            return tuple(row for rows in found for row in rows)

        return self._part("responders", make)

    def split(self, outcome: str) -> tuple[tuple[EffectRow, ...], tuple[FamilyRow, ...]]:
        """The effects at each level of the selection's split, and the levels brought together; each outcome is a family."""
        by = self.selection.split

        def make() -> tuple[tuple[EffectRow, ...], tuple[FamilyRow, ...]]:
            frame, begun = self._study.frame(outcome, self._kept), self.overall(outcome).ratios
            found, families = shrunken(fitted(frame, by, self._settings, begun)[0], self._settings)
            levels, price = [one for one in found if one.row.level is not None], self._price(outcome)
            return tuple(claimed(levels, self._settings, price)), tuple(compared(families, price))

        return self._part(f"split {by} {outcome}", make)

    def _price(self, outcome: str) -> float:
        return price_of(outcome, [row for rows in self.effects().values() for row in rows])

    def _part(self, name: str, make: Callable[[], _Made]) -> _Made:
        made: _Made = self._remember(("effects", name, self._plain), make)
        return made

    @cached_property
    def _of_all(self) -> "EffectParts | None":
        """The parts of all fits; None where these are they."""
        if self._plain == Selection():
            return None
        found = EffectParts(self._warehouse, Selection(), self._settings, self._remember)
        found._study = self._study
        return found

    @cached_property
    def _study(self) -> Study:
        study: Study = self._remember(("effects study",), lambda: study_of(self._warehouse, self._settings))
        return study

    @cached_property
    def _kept(self) -> Flags:
        return self._study.selected(self._warehouse, self._plain, self.scope(), self._remember)

    @cached_property
    def _captures(self) -> Captures:
        return self._study.captures.chosen(self._kept)
