"""The Supports page: asks `effects`, overall by foot type and by dose, and shows what stands beside the effects."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

from dashboard.components.address import View
from dashboard.components.page import Desk, Page, PageView, Show
from dashboard.components.text import read_text
from dashboard.figures.names import MAIN_OUTCOMES
from dashboard.pages.supports import ids
from dashboard.pages.supports.checked import checked
from dashboard.pages.supports.choices import PATH
from dashboard.pages.supports.doses import doses
from dashboard.pages.supports.further import further
from dashboard.pages.supports.grid import Ground, grid
from dashboard.pages.supports.layout import NAME, QUESTION, answered, layout, panel, told
from dashboard.questions.effects.answers_checks import Checks
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError

TEXT = read_text(Path(__file__).with_name("text.md"))


def places(desk: Desk) -> dict[str, Show]:
    # Each place asks for what it shows, so that the first picture does not wait for the others.
    def effects(selection: Selection, *parts: str, outcomes: tuple[str, ...]) -> Effects:
        return cast(Effects, desk.asker.ask("effects", selection, parts=parts, outcomes=outcomes))

    def show(view: View, _: str | None) -> Any:
        outcome = chosen_outcome(view)
        answer = effects(view.selection, "overall", outcomes=(outcome or MAIN_OUTCOMES[0],))
        return answered(desk, view.selection, answer, outcome)

    def panel_of(outcome: str) -> Show:
        def show_panel(view: View, theme: str | None) -> Any:
            # Of a chosen outcome the first place has the picture, and the others have none.
            panel_outcome = dict(zip(MAIN_OUTCOMES, shown_outcomes(chosen_outcome(view)), strict=False)).get(outcome)
            return (
                panel(effects(view.selection, "overall", outcomes=(panel_outcome,)), panel_outcome, theme)
                if panel_outcome
                else None
            )

        return show_panel

    def show_tables(view: View, _: str | None) -> Any:
        outcomes = shown_outcomes(chosen_outcome(view))
        return told(desk, view.selection, effects(view.selection, "overall", outcomes=outcomes), outcomes, TEXT)

    def show_grid(view: View, _: str | None) -> Any:
        ground = Ground(desk, view.selection, chosen_outcome(view), view.selection.split or "foot_type")
        return grid(effects(ground.asked, "split", outcomes=(ground.outcome,)), ground, TEXT)

    def show_doses(view: View, theme: str | None) -> Any:
        outcome = chosen_outcome(view) or MAIN_OUTCOMES[0]
        return doses(desk, view.selection, effects(view.selection, "dose", outcomes=(outcome,)), outcome, TEXT, theme)

    def show_further(view: View, theme: str | None) -> Any:
        outcome = chosen_outcome(view)
        parts = ("overall", "directions", "responders", "influence")
        answer = effects(view.selection, *parts, outcomes=shown_outcomes(outcome))
        return further(desk, view.selection, answer, outcome, TEXT, theme)

    return {
        ids.ANSWER: show,
        **{ids.panel_of(one): panel_of(one) for one in MAIN_OUTCOMES},
        ids.TABLES: show_tables,
        ids.CHECKS: _checks_of(desk),
        ids.GRID: show_grid,
        ids.DOSE: show_doses,
        ids.FURTHER: show_further,
    }


def _checks_of(desk: Desk) -> Callable[[View, str | None], Any]:
    def show_checks(view: View, _: str | None) -> Any:
        outcome = chosen_outcome(view) or MAIN_OUTCOMES[0]
        answer = cast(Checks, desk.asker.ask("checks", view.selection, outcomes=(outcome,)))
        return checked(desk, view.selection, answer, outcome, TEXT)

    return show_checks


def chosen_outcome(view: View) -> str | None:
    """The outcome named in the address, or None for the main ones. Raises UsageError for an unknown one."""
    outcome = view.page_words.get("outcome")
    if outcome is not None and outcome not in MAIN_OUTCOMES:
        raise UsageError(f"outcome: found {outcome!r}, expected one of {', '.join(MAIN_OUTCOMES)}.")
    return outcome


def shown_outcomes(outcome: str | None) -> tuple[str, ...]:
    """The outcomes that stand on the page."""
    return (outcome,) if outcome else MAIN_OUTCOMES


def head(desk: Desk) -> Show:
    return places(desk)[ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    return {place: show for place, show in places(desk).items() if place != ids.ANSWER}


PAGE = Page(PATH, NAME, QUESTION, head, (PageView("", "Answer", layout, shows, splits=True),))
