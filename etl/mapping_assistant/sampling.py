"""Five of the reader's own cells beside what they would become by the likely answer to a question."""

from etl.mapping_assistant.asking import SIDES, Asked, Question
from etl.mapping_assistant.plan import TablePlan
from etl.mapping_assistant.reading import Folder

_WANTED = 5


def sample_of(folder: Folder, asked: Asked, question: Question) -> list[tuple[str, str]]:
    """Each cell with what the loader would make of it; none of a question that is about no column."""
    if rows := asked.sample_of_rows(question, _WANTED):
        return rows
    plan = _plan_of(asked, question)
    if plan is None or question.column not in plan.columns:
        return []
    known = {**asked.answers, **({question.key: question.proposed} if question.proposed else {})}
    supposed = Asked(asked.files, known)
    plan = _plan_of(supposed, question) or plan
    proposal = plan.columns.get(question.column)
    if proposal is None or proposal.candidate is None or proposal.candidate.within_days is not None:
        return []
    shown: list[tuple[str, str]] = []
    # Three of the left, two of the right.
    for side, wanted in zip(SIDES, (3, 2), strict=True) if plan.is_wide else ((None, _WANTED),):
        source = proposal.candidate.of(side)[0]
        cells = folder.becomes(plan.table, question.column, source, supposed.mapping_of(plan, proposal, side), wanted)
        shown += [(f"{source.heading}: {cell}" if side else cell, made) for cell, made in cells]
    return shown


def _plan_of(asked: Asked, question: Question) -> TablePlan | None:
    return next((one for one in asked.plans if one.table.name == question.table), None)
