"""Refuses a question whose tables a studio does not record: not recorded is not zero; what is known all the same is told."""

from dashboard.questions.door.question import Question
from dashboard.questions.memory.remembering import Remember
from dashboard.questions.selection.recorded import EVERYTHING, SPLIT_BY, recorded_in
from dashboard.questions.selection.selection import Selection
from shared.errors import NotRecordedError
from shared.recorded import COSTS, named
from shared.settings import Settings
from shared.warehouse import Warehouse

# The words of a selection that ask for an exam.
_OF_EXAM = ("arch_height", "forefoot")


def require_recorded(
    question: Question, warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember
) -> None:
    """Raises NotRecordedError where the warehouse holds nothing of what the question, its split or its selection stands on.

    A warehouse without a visit is empty, which each question says itself.
    """
    stands_on = question.stands_on
    if selection.split and question.follows_split:
        stands_on = (*stands_on, *SPLIT_BY.get(selection.split, ()))
    if any(getattr(selection, word) for word in _OF_EXAM):
        stands_on = (*stands_on, "foot_exams")
    recorded = recorded_in(warehouse, remember) if stands_on else EVERYTHING
    absent = recorded.lacking(stands_on)
    if not absent or "fit_sessions" in recorded.absent:
        return
    costs = " ".join(f"{COSTS[stand][0].upper()}{COSTS[stand][1:]}." for stand in absent)
    instead = question.told_instead(warehouse, selection, settings, remember, absent)
    raise NotRecordedError(f"Not recorded here: {named(absent)}.", absent, costs, instead)
