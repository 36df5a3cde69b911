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
            outcome, one.check, unit, one.counts.n_riders, one.counts.n_changes, *first, *other, one.difference, *ends,
            one.p_value, one.q_value, is_found, one.check == "order_arch" and form.by_arch, words, carried,
        )  # fmt: skip


def _late_row(outcome: str, late: LateShare | str, q_value: float | None, form: Form) -> CheckRow:
    words, carried = late_words(late, outcome, form.is_late)
    none = (None,) * 4
    if isinstance(late, str):
        return CheckRow(
            outcome, "late", "share", 0, 0, *none, None, None, None, None, q_value, form.is_late, form.is_late, words, carried
        )
    return CheckRow(
        outcome, "late", "share", late.n_riders, late.n_pairs, *none, late.share, late.low, late.high, late.p_value, q_value,
        form.is_late, form.is_late, words, carried,
    )  # fmt: skip
