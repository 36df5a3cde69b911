"""One step of a dialogue over files that lie in a folder of their own: what is proposed, and the next question."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etl.mapping_assistant.asking import YES, Asked, Question, is_valid
from etl.mapping_assistant.plan import NO, Answers
from etl.mapping_assistant.preview import Preview, preview
from etl.mapping_assistant.reading import opened_folder
from etl.mapping_assistant.sampling import sample_of
from etl.mapping_assistant.writing import mapping_text, waiting_tables
from shared.errors import UsageError
from shared.settings import Settings

# What a reader says who does not know yet.
LATER: Final = "later"


@dataclass(frozen=True)
class ProposedColumn:
    """A column of the contract, what it is made of, why, and what it waits for."""

    table: str
    column: str
    made_of: str
    reason: str
    waits: bool


@dataclass(frozen=True)
class Step:
    """Where a dialogue stands. question: the next one, None where nothing is asked any more; later: those put off, of which
    nothing is loaded; n_left: how many are left beside them; sample: five cells beside what they would become; waiting: the
    tables that are not loaded yet; text: the mapping as it stands; tried: the first figures, once nothing must be asked.
    """

    columns: tuple[ProposedColumn, ...]
    question: Question | None
    later: tuple[Question, ...]
    n_left: int
    sample: tuple[tuple[str, str], ...]
    waiting: dict[str, list[str]]
    text: str
    tried: Preview | None = None


def step_of(folder: Path, answers: Answers, settings: Settings, later: frozenset[str] = frozenset()) -> Step:
    """The step that these answers lead to, questions of the keys in `later` put off.

    Raises InputUnusableError where nothing can be read.
    """
    with opened_folder(folder, settings.reading) as opened:
        asked = Asked(opened.columns, {**dict.fromkeys(opened.native, NO), **answers})
        put_off = tuple(one for one in asked.questions if one.key in later)
        questions = [one for one in asked.questions if one.key not in later]
        question = next((one for one in questions if one.must), questions[0] if questions else None)
        waiting, text = waiting_tables(asked), mapping_text(opened, asked)
        sample = tuple(sample_of(opened, asked, question)) if question else ()
        columns = tuple(
            ProposedColumn(
                plan.table.name,
                name,
                one.candidate.headings if one.candidate else f"= {one.value}",
                "; ".join(one.reasons),
                bool(asked.waiting(plan, one)),
            )
            for plan in asked.plans
            for name, one in plan.columns.items()
        )
        is_said = not any(one.must for one in questions) and len(waiting) < len(asked.plans)
    tried = preview(folder, text, settings) if is_said else None
    return Step(columns, question, put_off, len(questions), sample, waiting, text, tried)


def answered(step: Step, key: str, said: str) -> str:
    """The answer in the words that its question takes. Raises UsageError for any other, or one that is not asked now."""
    question = step.question
    if question is None or question.key != key:
        raise UsageError("This is not asked any more. Nothing was changed. Answer the question that is shown.")
    said = said.strip()
    if said == LATER:
        return said
    if said == YES and question.proposed and YES not in question.choices:
        said = question.proposed
    if not is_valid(question, said):
        raise UsageError(f"{said!r} is none of the answers: {', '.join(question.choices)}.")
    return said
