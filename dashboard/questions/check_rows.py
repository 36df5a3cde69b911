"""The rows of the checks from their tests."""

from collections.abc import Iterable, Iterator

from dashboard.questions.answers_checks import CheckRow
from dashboard.questions.check_models import Tested
from dashboard.questions.checks_words import joint_words, late_words
from dashboard.questions.effect_models import OUTCOMES
from dashboard.questions.forms import Form
from shared.settings import Settings
from shared.statistics.late import LateShare


def check_rows(
    outcome: str,
    late: LateShare | str,
    late_q_value: float | None,
    tested: Iterable[Tested],
    form: Form,
    settings: Settings,
) -> Iterator[CheckRow]:
    """One row a check of one outcome; late: the share that comes late, or why it cannot be told; late_q_value: over all fits,
    None where it was not looked for; form: of the models."""
    yield _late_row(outcome, late, late_q_value, form)
    unit = OUTCOMES[outcome]
    for one in tested:
        is_found = one.q_value is not None and one.q_value < settings.checks.found_below_q
        words, carried = joint_words(one, outcome, unit, is_found, settings)
        first, other, ends = ((each.low, each.high) if each else (None, None) for each in (one.first, one.other, one.ends))
        yield CheckRow(
            outcome=outcome, check=one.check, unit=unit, n_riders=one.counts.n_riders, n_changes=one.counts.n_changes,
            first_low=first[0], first_high=first[1], other_low=other[0], other_high=other[1],
            difference=one.difference, difference_low=ends[0], difference_high=ends[1],
            p_value=one.p_value, q_value=one.q_value, is_found=is_found,
            is_allowed_for=one.check == "order_arch" and form.by_arch, words=words, carried=carried,
        )  # fmt: skip


def _late_row(outcome: str, late: LateShare | str, q_value: float | None, form: Form) -> CheckRow:
    words, carried = late_words(late, outcome, form.is_late)
    told = None if isinstance(late, str) else late
    return CheckRow(
        outcome=outcome, check="late", unit="share", n_riders=told.n_riders if told else 0,
        n_changes=told.n_pairs if told else 0, first_low=None, first_high=None, other_low=None, other_high=None,
        difference=told.share if told else None, difference_low=told.low if told else None,
        difference_high=told.high if told else None, p_value=told.p_value if told else None, q_value=q_value, is_found=form.is_late, is_allowed_for=form.is_late,
        words=words, carried=carried,
    )  # fmt: skip
