"""From rows to claims: q-values in their family, and the words that follow from them and from the told interval. Pages, charts,
command and report print what a row claims (`direction`, `differs`, `is_bent`), and decide on nothing themselves."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from dashboard.questions.models import verdict
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.frames import STANCE_STEP_MM
from shared.settings import Settings
from shared.statistics.multiplicity import in_family


@dataclass(frozen=True)
class Noted:
    """What is known of both estimates beside each other: whether they disagree, and half the width of their difference's
    interval, in the outcome's unit per unit of the support."""

    disagree: bool
    reach: float


@dataclass(frozen=True)
class Found:
    """A row before its family is known: its figures and, where it has any, the p-value behind its claim, and what is noted."""

    row: EffectRow
    p_value: float | None = None
    noted: Noted | None = None


def claimed(family: Sequence[Found], settings: Settings, price: float = 1.0) -> list[EffectRow]:
    """The rows of one family with their q-values and words, in the order given; price: as in in_family."""
    q_values = in_family([found.p_value for found in family], price)
    return [_told(found, q_value, settings) for found, q_value in zip(family, q_values, strict=True)]


def price_of(outcome: str, overall: Sequence[EffectRow]) -> float:
    """What the levels, or doses, of one outcome pay for those of the others, which need not be computed; overall: the rows of
    every outcome over all.

    With m outcomes, of which something is claimed overall in R, the families of those R are judged at R/m of the level; the
    others, in which no support is known to act, at 1/m. Source: Benjamini & Bogomolov 2014, J R Stat Soc B 76:297.
    """
    told = {row.outcome for row in overall}
    acting = {row.outcome for row in overall if row.direction}
    return len(told) / len(acting) if outcome in acting else float(len(told))


def _told(found: Found, q_value: float | None, settings: Settings) -> EffectRow:
    row = replace(found.row, q_value=q_value)
    if found.noted is None:
        return row
    apart = verdict.APART if found.noted.disagree else verdict.UNSURE if _is_wide(found, settings) else verdict.AGREE
    return replace(row, words=verdict.verdict(row, apart))


def _is_wide(found: Found, settings: Settings) -> bool:
    """Whether the two estimates could differ by as much as matters with no disagreement found, for one step of the support."""
    assert found.noted is not None
    limit = settings.intervals.agree_within_deg if found.row.unit == "deg" else settings.intervals.agree_within_mm
    step = STANCE_STEP_MM if found.row.support == "stance" else 1.0
    return found.noted.reach * step > limit
