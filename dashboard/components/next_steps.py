"""What to do next: links that name where they lead, with how many wait there."""

from collections.abc import Sequence
from dataclasses import dataclass

from dash import dcc

from dashboard.components import html


@dataclass(frozen=True)
class NextStep:
    """One thing to do: its words, the address where it is done, and how many wait there, where they are counted."""

    words: str
    href: str
    count: int | None = None


def next_steps(steps: Sequence[NextStep], *, heading: str = "What to do next") -> html.Section:
    """The steps as a short list of links, or the sentence that there is none."""
    items = [html.Li(dcc.Link([_count(step), step.words], href=step.href)) for step in steps]
    shown = html.Ul(items) if items else html.P("Nothing waits.")
    return html.Section([html.H2(heading), shown], className="next-steps")


def _count(step: NextStep) -> html.Strong | None:
    return html.Strong(f"{step.count:,} ") if step.count is not None else None
