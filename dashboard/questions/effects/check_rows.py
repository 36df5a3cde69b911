"""The rows of the checks from their tests."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from dashboard.questions.effects.answers_checks import CheckRow
from dashboard.questions.effects.check_models import LATE_CHECK, Tested, late_p_value
from dashboard.questions.effects.checks_words import QUALIFIES, words_of
from dashboard.questions.models.effect_models import OUTCOMES
from dashboard.questions.models.forms import Form
from shared.settings import Settings
from shared.statistics.late import LateShare


def check_rows(
    outcome: str,
    late: LateShare | None,
    late_q_value: float | None,
    tested: Sequence[Tested],
    form: Form,
    settings: Settings,
    price: float = 1.0,
) -> Iterator[CheckRow]:
    """One row a check of one outcome; late: the share that comes late, None where it cannot be told; late_q_value: over all
    fits, None where it is not told; form: of the models; price: as in in_family, of checks that qualify a verdict."""
    for row in (
        _late_row(outcome, late, late_q_value, tested, form),
        *(_check_row(outcome, _paid(one, price), form, settings) for one in tested),
    ):
        if row.check != LATE_CHECK:
            yield replace(row, words=words_of(row, settings))


def _paid(one: Tested, price: float) -> Tested:
    """The check with what its q-value pays; a drift by arch qualifies no verdict, and both models allow for it as it is."""
    if one.q_value is None or one.check not in QUALIFIES:
        return one
    return replace(one, q_value=min(1.0, price * one.q_value))


def _check_row(outcome: str, one: Tested, form: Form, settings: Settings) -> CheckRow:
    first, other, ends = ((each.low, each.high) if each else (None, None) for each in (one.first, one.other, one.ends))
    return CheckRow(
        outcome=outcome, check=one.check, unit=OUTCOMES[outcome], n_riders=one.counts.n_riders, n_changes=one.counts.n_changes,
        first_low=first[0], first_high=first[1], other_low=other[0], other_high=other[1],
        difference=one.difference, difference_low=ends[0], difference_high=ends[1],
        p_value=one.p_value, q_value=one.q_value,
        is_found=one.q_value is not None and one.q_value < settings.checks.found_below_q,
        is_allowed_for=one.check == "order_arch" and form.by_arch, words="",
    )  # fmt: skip


def _late_row(outcome: str, late: LateShare | None, q_value: float | None, tested: Sequence[Tested], form: Form) -> CheckRow:
    empty = CheckRow(
        outcome=outcome, check="late", unit="share", n_riders=0, n_changes=0,
        first_low=None, first_high=None, other_low=None, other_high=None,
        difference=None, difference_low=None, difference_high=None, p_value=None, q_value=q_value,
        is_found=form.is_late, is_allowed_for=form.is_late, words="",
    )  # fmt: skip
    if late is None:
        return empty
    return replace(
        empty, n_riders=late.n_riders, n_changes=late.n_pairs, difference=late.share, difference_low=late.low,
        difference_high=late.high, p_value=late.p_value if form.is_late else late_p_value(late, tested),
    )  # fmt: skip
