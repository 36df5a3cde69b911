"""The parts of the effects question, each computed once a selection and remembered apart: a page waits for what it shows."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, TypeVar

from dashboard.questions.data import noise
from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.effects.answers_checks import CheckRow
from dashboard.questions.effects.answers_effects import DoseRow, FamilyRow, InfluenceRow, NeutralRow, ResidualRow, ResponderRow
from dashboard.questions.effects.check_models import Tested, form_found, late_of, late_p_value, tested
from dashboard.questions.effects.check_rows import check_rows
from dashboard.questions.effects.checks_words import carried_words
from dashboard.questions.effects.dose import dose_rows, in_families
from dashboard.questions.effects.families import compared, left_uncompared, shrunken
from dashboard.questions.effects.influence import influence_rows, residual_rows, riders_by_code
from dashboard.questions.effects.off_neutral import neutral_rows, with_distance
from dashboard.questions.effects.responders import responder_rows
from dashboard.questions.memory.remembering import Remember
from dashboard.questions.memory.side_by_side import both, one_thread_a_product
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.captures import Captures, Flags
from dashboard.questions.models.claims import (
    Found,
    claimed,
    claims_if_narrowed,
    is_chosen_by_arrival,
    judged,
    left_unjudged,
    price_of,
    prices_of_split,
)
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.forms import PLAIN, Form
from dashboard.questions.models.frames import Frame, frame_with_outcome
from dashboard.questions.models.study import Study, study_of
from dashboard.questions.models.thirds import narrowed, thirds_of
from dashboard.questions.selection.scope import Scope, scope_of
from dashboard.questions.selection.selection import Selection
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.late import LateShare
from shared.statistics.multiplicity import in_family
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
    """The parts of the answer for one selection, each computed once. Thread-safe where `remember` is."""

    def __init__(
        self, warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember,
        study: Study | None = None, *, claims: bool = True,
    ) -> None:  # fmt: skip
        """study: that of the snapshot, where it is there already; claims: whether rows claim anything: where they do not, no
        family is judged for them and no check made."""
        self._warehouse, self.selection, self._settings, self._remember = warehouse, selection, settings, remember
        self._read, self._claiming = study, claims
        self._plain = replace(selection, split=None)
        self._made: dict[str, Any] = {}

    def scope(self) -> Scope:
        return self._part("scope", lambda: scope_of(self._warehouse, self._plain, self._settings))

    def n_captures(self) -> int:
        return self._part("n_captures", lambda: int(self._study.captures.n @ self._kept))

    def overall(self, outcome: str) -> Overall:
        return self._overall_in(outcome, self.form(outcome))

    def _overall_in(self, outcome: str, form: Form) -> Overall:
        return self._part(f"overall {outcome} {form}", lambda: self._overall(outcome, form))

    def form(self, outcome: str) -> Form:
        """What both models of the outcome are adjusted for; decided once, over all fits, so that selections can be compared."""
        whole = self._of_all or self
        form: Form = whole._part(f"form {outcome}", lambda: whole._decided_form(outcome))
        return form

    def _decided_form(self, outcome: str) -> Form:
        return form_found(self._late_q_values().get(outcome), lambda form: self._tested(outcome, form), self._settings)

    def _late_q_values(self) -> dict[str, float]:
        """The q-value of a late effect by outcome, for those on which some effect is claimed; on others none is looked for."""

        def make() -> dict[str, float]:
            moved = sorted({row.outcome for row in self._plainly_told() if row.direction}, key=OUTCOMES.index)
            late = [late_p_value(self._late(one, self._overall_in(one, PLAIN)), self._tested(one, PLAIN)) for one in moved]
            return {outcome: q for outcome, q in zip(moved, in_family(late), strict=True) if q is not None}

        return self._part("late q", make)

    def _plainly_told(self) -> list[EffectRow]:
        """The rows of all outcomes by both models, held for nothing and narrowed by nothing: what the checks are asked of."""
        overall = self.each(lambda outcome: self._overall_in(outcome, PLAIN))
        return claimed([unjudged for one in overall.values() for unjudged in one.found], self._settings)

    def _late(self, outcome: str, overall: Overall) -> LateShare | None:
        try:
            return late_of(self._captures, outcome, overall.slopes, self._settings)
        except StatisticsError:
            return None

    def _tested(self, outcome: str, form: Form) -> tuple[Tested, ...]:
        """The checks in models that allow for late effects or not, as form says; the drift by arch is among them."""

        def make() -> tuple[Tested, ...]:
            # All fits are looked at before it is known whether the drift differs.
            overall = self._overall_in(outcome, replace(form, by_arch=self._of_all is not None and form.by_arch))
            return tested(self._captures, outcome, form, overall.slopes, self._settings, overall.ratios)

        return self._part(f"tested {outcome} {form.is_late}", make)

    def checks(self, outcome: str, *, with_late: bool = True) -> tuple[CheckRow, ...]:
        """The checks of whether the effects on an outcome hold as they are told; that of late effects has no figures without
        `with_late`, since to look at the repeats takes as long as all others where captures are many."""

        def make() -> tuple[CheckRow, ...]:
            form = self.form(outcome)
            late = self._late(outcome, self.overall(outcome)) if with_late else None
            # Told over all fits alone: a selection is not judged anew, and what is found over all fits is not told in it.
            q_value = self._late_q_values().get(outcome) if self._of_all is None else None
            price = price_of(outcome, (self._of_all or self)._plainly_told())
            return tuple(check_rows(outcome, late, q_value, self._tested(outcome, form), form, self._settings, price))

        return self._part(f"checks {outcome} {with_late}", make)

    def _frame(self, outcome: str) -> Frame:
        return self._study.frame(outcome, self._kept, self.form(outcome))

    def effects(self, outcomes: Sequence[str] = OUTCOMES) -> dict[str, tuple[EffectRow, ...]]:
        """The rows of some outcomes over all of the selection; the supports and outcomes together are one family, whatever is
        asked for."""
        if not self._claiming:
            return self.each(lambda outcome: tuple(one.row for one in self.found(outcome)), outcomes)

        def told(outcome: str) -> tuple[EffectRow, ...]:
            rows = judged(self.found(outcome), self._q_values()[outcome], self._settings)
            return tuple(replace(row, words=" ".join((row.words, *self.carried(row)))) for row in rows)

        _ = self._q_values()
        return self.each(lambda outcome: self._part(f"effects {outcome}", lambda: told(outcome)), outcomes)

    def _q_values(self) -> dict[str, list[float | None]]:
        """The q-values of each outcome's rows. No narrowed interval changes a p-value, so that both estimates serve."""

        def make() -> dict[str, list[float | None]]:
            _ = [self.form(outcome) for outcome in OUTCOMES]  # decided by this thread, before there are more
            overall = self.each(self.overall)
            q_values = iter(in_family([unjudged.p_value for one in overall.values() for unjudged in one.found]))
            return {outcome: [next(q_values) for _ in one.found] for outcome, one in overall.items()}

        return self._part("q values", make)

    def _claims(self) -> tuple[EffectRow, ...]:
        """The rows of all outcomes, for what they claim: the third estimate is asked only where it may make a claim."""

        def make() -> tuple[EffectRow, ...]:
            q_values = self._q_values()

            def rows(outcome: str) -> list[EffectRow]:
                found, own = self.overall(outcome).found, q_values[outcome]
                may_claim = any(claims_if_narrowed(one, q_value) for one, q_value in zip(found, own, strict=True))
                return judged(self.found(outcome) if may_claim else found, own, self._settings)

            return tuple(row for of_outcome in self.each(rows).values() for row in of_outcome)

        return self._part("claims", make)

    def found(self, outcome: str) -> list[Found]:
        """The rows of an outcome over all of the selection, with what is noted of both estimates beside them."""
        return self._part(f"found {outcome}", lambda: self._with_third(outcome))

    def _with_third(self, outcome: str) -> list[Found]:
        """The rows of an outcome, narrowed by the third estimate where it may."""
        overall, form = self.overall(outcome), self.form(outcome)
        # In the order of the frame's columns, supports first, as the within-knee fit has them.
        thirds = thirds_of(self._frame(outcome), tuple(overall.within)) if overall.within and form == PLAIN else {}
        return narrowed(overall.found, thirds, form, self._settings)

    def carried(self, row: EffectRow) -> list[str]:
        """The sentences of checks that a verdict carries: what was found over all fits, with the figures of this selection."""
        checks_found = self._checks_found(row.outcome)
        if row.told_low is None or not checks_found:
            return []
        return [
            words
            for check in self._figures_of(row.outcome, checks_found)
            if check.check in checks_found
            for words in carried_words(check, row, self._settings)
        ]

    def _checks_found(self, outcome: str) -> set[str]:
        """The checks of an outcome that are found over all fits."""
        return {check.check for check in (self._of_all or self).checks(outcome) if check.is_found}

    def _figures_of(self, outcome: str, checks_found: set[str]) -> tuple[CheckRow, ...]:
        return self.checks(outcome, with_late="late" in checks_found or self._of_all is None)

    def make_answer(self, *, with_checks: bool) -> None:
        """Makes what the answer tells: the directions and, side by side where there are many captures, the checks of the tilt
        that its sentence may carry."""
        if not with_checks or self.n_captures() < _SIDE_BY_SIDE_FROM:
            return
        # Read once, by this thread: a cursor belongs to one.
        _ = self._study, self._kept, self._of_all and self._of_all._kept, self.noise()
        if checks_found := self._checks_found("tilt"):
            both(self.directions, lambda: self._figures_of("tilt", checks_found), self.n_captures())

    def each(self, make: Callable[[str], _Made], outcomes: Sequence[str] = OUTCOMES) -> dict[str, _Made]:
        """Each outcome's part; where there are many captures, side by side: the sums behind them leave the interpreter free."""
        if self.n_captures() < _SIDE_BY_SIDE_FROM or len(outcomes) < 2:
            return {outcome: make(outcome) for outcome in outcomes}
        # Read once, by this thread: a cursor belongs to one.
        _ = self._study, self._kept, self._of_all and self._of_all._kept
        one_thread_a_product()
        with ThreadPoolExecutor(len(outcomes)) as pool:
            # In the reader's context, so that they stop where the reader has gone on.
            begun = {outcome: pool.submit(copy_context().run, make, outcome) for outcome in outcomes}
            return {outcome: future.result() for outcome, future in begun.items()}

    def _overall(self, outcome: str, form: Form) -> Overall:
        frame = self._study.frame(outcome, self._kept, form)
        unjudged, fits = fitted(frame, None, self._settings, self._begun(outcome))
        if fits is None:
            return Overall(tuple(unjudged), (), {}, {}, None)
        # Of a support that has no figure nothing rests on anyone.
        told = [one.row.support for one in unjudged if one.row.told_low is not None]
        influence = influence_rows(outcome, fits, riders_by_code(self._study.captures), told)
        slopes = {term: entry.estimate for term, entry in fits.pooled_table.items() if term in fits.within_table}
        within = {term: entry.estimate for term, entry in fits.within_table.items()}
        return Overall(tuple(unjudged), tuple(influence), slopes, within, fits.ratios)

    def _begun(self, outcome: str) -> Ratios | None:
        """The variance ratios of all fits, at which a selection's search begins, since its own are not far from them."""
        return self._of_all.overall(outcome).ratios if self._of_all else None

    def dose(self, outcome: str) -> tuple[DoseRow, ...]:
        def make() -> tuple[DoseRow, ...]:
            overall, frame = self.overall(outcome), self._frame(outcome)
            doses = dose_rows(frame, overall.slopes, self._settings, overall.ratios)
            return tuple(in_families(doses, price_of(outcome, self._claims()) if self._claiming else 1.0))

        return self._part(f"dose {outcome} {self._claiming}", make)

    def residuals(self, outcome: str) -> tuple[ResidualRow, ...]:
        def make() -> tuple[ResidualRow, ...]:
            return tuple(residual_rows(self._captures, outcome, self.overall(outcome).within, self.form(outcome).columns()))

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
            of_tilt = self._frame("tilt")
            frame = frame_with_outcome(of_tilt, with_distance(of_tilt.captures, typical_error), "off_neutral")
            begun = self._of_all._directions()[-1] if self._of_all else None
            unjudged, fits = fitted(frame, "arrival_direction", self._settings, begun)
            rows = claimed([one for one in unjudged if one.row.level is not None], self._settings)
            neutral = neutral_rows(self._captures, typical_error, self._settings)
            return tuple(rows), tuple(neutral), fits.ratios if fits else None

        return self._part("directions", make)

    def responders(self) -> tuple[ResponderRow, ...]:
        def make() -> tuple[ResponderRow, ...]:
            pairs = noise.pairs_of(self._warehouse, self.scope(), self._remember)
            captures, fitters = self._captures, noise.fitter_of_fits(self._warehouse, self._remember)
            own = {outcome: noise.own_noise(outcome, pairs, self._settings) for outcome in ("tilt", "sway")}
            by_outcome = (responder_rows(captures, fitters[captures.visit], one, self._settings) for one in own.values())
            return tuple(row for rows in by_outcome for row in rows)

        return self._part("responders", make)

    def split(self, outcome: str) -> tuple[tuple[EffectRow, ...], tuple[FamilyRow, ...]]:
        """The effects at each level of the selection's split, and the levels brought together; each outcome is a family."""
        by = self.selection.split

        def make() -> tuple[tuple[EffectRow, ...], tuple[FamilyRow, ...]]:
            frame, begun = self._frame(outcome), self.overall(outcome).ratios
            unjudged, families = shrunken(fitted(frame, by, self._settings, begun)[0], self._settings)
            levels = [one for one in unjudged if one.row.level is not None]
            if not self._claiming:
                return tuple(one.row for one in levels), tuple(families)
            if is_chosen_by_arrival(by):
                return tuple(left_unjudged(levels)), tuple(left_uncompared(families))
            prices = prices_of_split(outcome, self._claims(), by or "")
            return tuple(claimed(levels, self._settings, prices.levels)), tuple(compared(families, prices.comparisons))

        return self._part(f"split {by} {outcome} {self._claiming}", make)

    def _part(self, name: str, make: Callable[[], _Made]) -> _Made:
        # Parts lean on one another many times over: nothing is made twice, also where nothing is remembered.
        if name not in self._made:
            self._made[name] = self._remember(("effects", name, self._plain), make)
        made: _Made = self._made[name]
        return made

    @cached_property
    def _of_all(self) -> "EffectParts | None":
        """The parts of all fits; None where these are those parts themselves."""
        if self._plain == Selection():
            return None
        return EffectParts(self._warehouse, Selection(), self._settings, self._remember, self._study)

    @cached_property
    def _study(self) -> Study:
        return self._read or study_of(self._warehouse, self._settings, self._remember)

    @cached_property
    def _kept(self) -> Flags:
        return self._study.selected(self._warehouse, self._plain, self.scope(), self._remember)

    @cached_property
    def _captures(self) -> Captures:
        return self._study.captures.chosen(self._kept)
