"""What the views of the Supports page ask, each for what it shows, and the choice of an outcome as links."""

from dataclasses import replace
from pathlib import Path
from typing import Final, cast

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.choices import choice, choices
from dashboard.components.page import Desk
from dashboard.components.text import read_text
from dashboard.figures.effects import Empty
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.effects.needed import why_empty
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError

PATH: Final = "supports"
# The outcome of the answer: the distance from neutral, by where the knee stood at arrival.
NEARER: Final = "off_neutral"
TEXT: Final = read_text(Path(__file__).with_name("text.md"))


def effects(desk: Desk, selection: Selection, *parts: str, outcomes: tuple[str, ...] = MAIN_OUTCOMES) -> Effects:
    """Parts of the answer on effects; asked in the same words it is computed once."""
    return cast(Effects, desk.asker.ask("effects", selection, parts=parts, outcomes=outcomes))


def nearer(desk: Desk, selection: Selection) -> Effects:
    """What the answer rests on: the distance from neutral by arrival direction, and nothing else."""
    return effects(desk, replace(selection, split=None), "directions")


def lacking_in(desk: Desk) -> Empty:
    """What stands in the place of a missing figure, by the settings of the studio."""
    return lambda row: why_empty(row, desk.asker.settings)


def chosen_outcome(view: View, without: str = MAIN_OUTCOMES[0]) -> str:
    """The outcome named in the address, or `without` one. Raises UsageError for one that has no views."""
    outcome = view.page_words.get("outcome")
    if outcome is None:
        return without
    if outcome not in MAIN_OUTCOMES:
        raise UsageError(f"outcome: found {outcome!r}, expected one of {', '.join(MAIN_OUTCOMES)}.")
    return outcome


def outcome_name(outcome: str) -> str:
    """What an outcome is called on this page."""
    return "Distance from neutral" if outcome == NEARER else OUTCOMES[outcome].name


def outcome_links(desk: Desk, selection: Selection, path: str, chosen: str, *, with_nearer: bool = False) -> html.Nav:
    """The choice of an outcome of a view, as links, so that it is part of the address; the answer's own needs no word."""

    def link(code: str) -> dcc.Link:
        words = {} if code == NEARER else {"outcome": code}
        return choice(
            outcome_name(code), desk.addresses.page(f"{PATH}/{path}", selection.query(), words), is_shown=code == chosen
        )

    return choices("Outcome", "outcome", map(link, (NEARER, *MAIN_OUTCOMES) if with_nearer else MAIN_OUTCOMES))
