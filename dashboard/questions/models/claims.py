"""From rows to claims: q-values in their family, and the words that follow from them and from the told interval. Pages, charts,
command and report print what a row claims (`direction`, `differs`, `is_bent`), and decide on nothing themselves."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from dashboard.questions.models import verdict
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.frames import STANCE_STEP_MM
from dashboard.questions.selection.selection import SPLITS
from shared.settings import Settings
from shared.statistics.multiplicity import in_family

# The split that a reader sees without having asked for one.
SHOWN_UNASKED: Final = "foot_type"
CHOSEN_BY_ARRIVAL: Final = (
    "these knees are chosen by where they stood at arrival, and chance in that one capture alone carries them back and apart "
    "from others"
)


@dataclass(frozen=True)
class Noted:
    """What is known of both estimates beside each other: whether they disagree, and half the width of their difference's
    interval, in the outcome's unit per unit of the support; why: the reason why the third estimate does not narrow a bracket
    whose two differ, as in told.Told, None where it was not asked; df: the smaller degrees of freedom of the two; learnt: as in
    told.Third."""

    disagree: bool
    reach: float
    why: str | None = None
    df: float = float("inf")
    learnt: float = 0.0


@dataclass(frozen=True)
class Found:
    """A row before its family is known: its figures and, where it has any, the p-value behind its claim, and what is noted."""

    row: EffectRow
    p_value: float | None = None
    noted: Noted | None = None


def claimed(family: Sequence[Found], settings: Settings, price: float = 1.0) -> list[EffectRow]:
    """The rows of one family with their q-values and words, in the order given; price: as in in_family."""
    return judged(family, in_family([unjudged.p_value for unjudged in family], price), settings)


def judged(found: Sequence[Found], q_values: Sequence[float | None], settings: Settings) -> list[EffectRow]:
    """Rows with their q-values in a family that may hold more of them, and their words."""
    return [_judged(unjudged, q_value, settings) for unjudged, q_value in zip(found, q_values, strict=True)]


def price_of(outcome: str, overall: Sequence[EffectRow]) -> float:
    """What the levels of a split, or the doses, of one outcome pay for those of the others, which need not be computed;
    overall: the rows of every outcome over all.

    With m outcomes, of which something is claimed overall in R, the families of those R are judged at R/m of the level; the
    others, in which no support is known to act, at 1/m. Source: Benjamini & Bogomolov 2014, J R Stat Soc B 76:297.
    """
    outcomes = {row.outcome for row in overall}
    acting = {row.outcome for row in overall if row.direction}
    return len(outcomes) / len(acting) if outcome in acting else float(len(outcomes))


@dataclass(frozen=True)
class SplitPrices:
    """What q-values of one outcome pay where it is split: the effects at each level, and the comparisons of levels."""

    levels: float
    comparisons: float


def prices_of_split(outcome: str, overall: Sequence[EffectRow], split: str) -> SplitPrices:
    """As price_of, and for the other splits that may be looked at: the split that is shown unasked bears half of the level, all
    others share the other half (weighted Bonferroni; Rosenthal & Rubin 1983, Psychol Bull 94:540).

    Where something acts overall that it acts at a level is no news of the split, and is judged in its family alone; that levels
    differ is.
    """
    price, of_splits = price_of(outcome, overall), 2.0 * (1 if split == SHOWN_UNASKED else len(SPLITS) - 1)
    is_acting = any(row.direction for row in overall if row.outcome == outcome)
    return SplitPrices(price if is_acting else price * of_splits, price * of_splits)


def is_chosen_by_arrival(split: str | None) -> bool:
    """Whether a split's levels are chosen by a measurement that the effects themselves rest on."""
    return split == "arrival_direction"


def left_unjudged(found: Sequence[Found]) -> list[EffectRow]:
    """The rows of levels that are chosen by the arrival: their figures without a claim, and why. What has none says why."""
    return [
        replace(
            one.row, q_value=None, words=f"{verdict.name_of(one.row.support)}: nothing is claimed, since {CHOSEN_BY_ARRIVAL}."
        )
        if one.p_value is not None
        else one.row
        for one in found
    ]


def _judged(unjudged: Found, q_value: float | None, settings: Settings) -> EffectRow:
    row = replace(unjudged.row, q_value=q_value)
    if unjudged.noted is None:
        return row
    apart = verdict.APART if unjudged.noted.disagree else verdict.UNSURE if _is_wide(unjudged, settings) else verdict.AGREE
    return replace(row, words=verdict.verdict(row, apart, unjudged.noted.why))


def _is_wide(unjudged: Found, settings: Settings) -> bool:
    """Whether the two estimates could differ by as much as matters with no disagreement found, for one step of the support."""
    assert unjudged.noted is not None
    limit = settings.intervals.agree_within_deg if unjudged.row.unit == "deg" else settings.intervals.agree_within_mm
    step = STANCE_STEP_MM if unjudged.row.support == "stance" else 1.0
    return unjudged.noted.reach * step > limit
