"""What the views of the page ask."""

from pathlib import Path
from typing import Final, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.page import Desk
from dashboard.components.text import read_text
from dashboard.questions.foresight.answers_foresight import Next
from dashboard.questions.selection.selection import Selection

PATH: Final = "next"
TEXT: Final = read_text(Path(__file__).with_name("text.md"))
NOBODY: Final = "Choose a rider, or type two feet by hand, to see what tended to follow for feet like these."


def next_of(desk: Desk, view: View) -> Next | None:
    """What is foreseen for the one rider of the address; None where none, or several, are named."""
    if len(view.selection.rider) != 1:
        return None
    return cast(Next, desk.asker.ask("next", Selection(rider=view.selection.rider)))


def choose(desk: Desk) -> html.Div:
    """The ways to a rider, and to the form for one who is not loaded."""
    steps = [
        NextStep("Riders who deserve a look; each leads here", desk.addresses.page("riders")),
        NextStep("Type two feet by hand", desk.addresses.page(f"{PATH}/by-hand")),
        NextStep("How well foreseen so far", desk.addresses.page(f"{PATH}/how-well-foreseen")),
    ]
    return html.Div(next_steps(steps))
