"""What the views of the Supports page ask, each for what it shows, and the choice of an outcome as links."""

from dataclasses import replace
from pathlib import Path
from typing import Final, cast

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.page import Desk
from dashboard.components.text import read_text
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError

PATH: Final = "supports"
TEXT: Final = read_text(Path(__file__).with_name("text.md"))


def effects(desk: Desk, selection: Selection, *parts: str, outcomes: tuple[str, ...] = MAIN_OUTCOMES) -> Effects:
    """Parts of the answer on effects; asked in the same words it is computed once."""
    return cast(Effects, desk.asker.ask("effects", selection, parts=parts, outcomes=outcomes))


def nearer(desk: Desk, selection: Selection) -> Effects:
    """What the answer rests on: the distance from neutral by arrival direction, and nothing else."""
    return effects(desk, replace(selection, split=None), "directions")


def chosen_outcome(view: View) -> str:
    """The outcome named in the address, or the first. Raises UsageError for an unknown one."""
    outcome = view.page_words.get("outcome", MAIN_OUTCOMES[0])
    if outcome not in MAIN_OUTCOMES:
        raise UsageError(f"outcome: found {outcome!r}, expected one of {', '.join(MAIN_OUTCOMES)}.")
    return outcome


def outcome_links(desk: Desk, selection: Selection, path: str, chosen: str) -> html.Nav:
    """The choice of an outcome of a view, as links, so that it is part of the address."""
    items = []
    for code in MAIN_OUTCOMES:
        name, is_chosen = OUTCOMES[code].name, code == chosen
        items.append(
            html.Li(
                dcc.Link(
                    [name, html.Span(" (shown)", className="for-readers")] if is_chosen else name,
                    href=desk.addresses.page(f"{PATH}/{path}", selection.query(), {"outcome": code}),
                    className="choice is-chosen" if is_chosen else "choice",
                )
            )
        )
    return html.Nav(html.Ul(items, className="choices"), **{"aria-label": "Outcome", "data-choices": "outcome"})
