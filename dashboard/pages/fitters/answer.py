"""The answer of the Fitters page: the funnel of one outcome, the furthest unless another is chosen, and what to do next."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.choices import choice, choices
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.funnel import OUTCOMES, alternative, finding, funnel_figure
from dashboard.figures.theme import number
from dashboard.pages.fitters import ids
from dashboard.pages.fitters.named import Names, called, with_names
from dashboard.pages.fitters.tables import fitter_columns
from dashboard.questions.coaching.answers_agreement import AgreementWithExam
from dashboard.questions.coaching.answers_fitters import Fitters
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError
from shared.statistics.told import is_sure

NAME = "Fitters"
QUESTION = "Who needs a second pair of eyes?"
PATH = "fitters"
WORST_PATH = "worst-disagreements"

Text = dict[str, tuple[str, ...]]
# A studio whose fitters are all new has more; each is a link of its own.
_STEPS_SHOWN = 4


def chosen_outcome(view: View, answer: Fitters) -> str:
    """The outcome named in the address, else the one furthest from what is expected. Raises UsageError for an unknown one."""
    outcome = view.page_words.get("outcome", answer.furthest)
    if outcome not in OUTCOMES:
        raise UsageError(f"outcome: found {outcome!r}, expected one of {', '.join(OUTCOMES)}.")
    return outcome


def answered(desk: Desk, view: View, answer: Fitters, names: Names, text: Text, theme: str | None) -> list[Any]:
    """The funnel of one outcome with its numbers folded under it, and how it is read."""
    outcome, levels = chosen_outcome(view, answer), _levels(desk)
    rows = [row for row in answer.fitters if row.outcome == outcome]
    numbers = table(
        f"{OUTCOMES[outcome].name}, by fitter",
        fitter_columns(rows[0].unit if rows else "share", number(desk.level, "share"), names),
        rows,
        row_key="fitter_id",
        table_id=ids.TABLE,
    )
    drawn = chart(
        funnel_figure(answer.fitters, answer.funnel, outcome, levels, theme, names),
        title=finding(answer.fitters, outcome, levels, names),
        alternative=with_names(alternative(answer.fitters, outcome), names),
        name="funnel",
        level=2,
        table=numbers,
    )
    scatter = [row.words for row in answer.dispersion if row.outcome == outcome and is_sure(row.q_value)]
    inner, outer = levels
    return [
        html.Div(drawn, className="panels is-single"),
        reading(*paragraphs(text["funnel"], inner=inner, outer=outer), *(html.P(words) for words in scatter)),
    ]


def beside(desk: Desk, view: View, answer: Fitters, agreement: AgreementWithExam | None, names: Names) -> list[Any]:
    """What to do next, and the choice of an outcome. agreement: None where it is not recorded, so that no fit waits."""
    return [
        next_steps(list(_steps(desk, view.selection, answer, agreement, names))[:_STEPS_SHOWN]),
        _outcomes(desk, view.selection, chosen_outcome(view, answer)),
    ]


def _steps(
    desk: Desk, selection: Selection, answer: Fitters, agreement: AgreementWithExam | None, names: Names
) -> Iterator[NextStep]:
    """Which fits wait to be looked at, and the fitters of whom their cases are all there is to see."""
    minimum, n = desk.asker.settings.minimum.sessions_per_fitter, waiting(desk, agreement) if agreement else 0

    def cases(chosen: Selection) -> str:
        return desk.addresses.page(f"{PATH}/{WORST_PATH}", chosen.query())

    if n:
        yield NextStep(f"{'fit' if n == 1 else 'fits'} to look at together, the worst first", cases(selection), n)
    fits: dict[str, int] = {}
    for row in answer.fitters:
        fits[row.fitter_id] = max(row.n_fits, fits.get(row.fitter_id, 0))
    estimated = {row.fitter_id for row in answer.fitters if row.observed is not None}
    for fitter in (fitter for fitter, n_fits in fits.items() if fitter not in estimated and n_fits < minimum):
        words = f"{called(fitter, names)}, {fits[fitter]} of {counted(minimum, 'fit')} that a figure needs: look at each"
        yield NextStep(words, cases(replace(selection, fitter=(fitter,))))


def waiting(desk: Desk, agreement: AgreementWithExam) -> int:
    """How many fits are to look at: of a reader who sees their own cases alone, among these."""
    if desk.asker.fitter is None:
        return agreement.n_to_look_at
    return sum(row.is_to_look_at for row in agreement.worst)


def _levels(desk: Desk) -> tuple[str, str]:
    """The inner and the outer level as printed."""
    rule = desk.asker.settings.fitters
    return _percent(rule.inner_level), _percent(rule.outer_level)


def _percent(level: float) -> str:
    return f"{100 * level:g}\u202f%"


def _outcomes(desk: Desk, selection: Selection, outcome: str) -> html.Nav:
    """The choice of an outcome as links, so that it is part of the address."""
    links = (
        choice(words.name, desk.addresses.page(PATH, selection.query(), {"outcome": code}), is_shown=code == outcome)
        for code, words in OUTCOMES.items()
    )
    return choices("Outcome", "outcome", links)
