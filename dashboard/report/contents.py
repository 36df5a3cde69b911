"""What the report holds: what the pages show, in the order in which an owner reads, and how it was computed."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from dashboard.components import html
from dashboard.components.address import search_of
from dashboard.components.chart import reading
from dashboard.components.faults import fault_note
from dashboard.components.notes import CAUTION, headline
from dashboard.components.page import Desk, Page
from dashboard.components.places import filled
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.control import Window
from dashboard.figures.theme import number
from dashboard.pages.data import held
from dashboard.pages.data import layout as data
from dashboard.pages.data.callbacks import TEXT as DATA_TEXT
from dashboard.pages.data.rig import rig
from dashboard.pages.fitters.callbacks import PAGE as FITTERS
from dashboard.pages.fitters.callbacks import TEXT as FITTERS_TEXT
from dashboard.pages.fitters.tables import done, process_columns
from dashboard.pages.returns.callbacks import PAGE as RETURNS
from dashboard.pages.studio.callbacks import TEXT as STUDIO_TEXT
from dashboard.pages.studio.charts import control_charts, over_time
from dashboard.pages.supports.callbacks import PAGE as SUPPORTS
from dashboard.pages.symmetry.callbacks import PAGE as SYMMETRY
from dashboard.questions.selection.selection import Selection
from dashboard.report.markup import of_class
from dashboard.report.owner import owner_page
from shared.errors import StatisticsError


@dataclass(frozen=True)
class Section:
    """One section: its anchor and name, the question that it answers, and what stands in it."""

    anchor: str
    name: str
    question: str
    nodes: list[Any]


def sections(desk: Desk, selection: Selection, *, with_fitters: bool, told: Callable[[str], None]) -> Iterator[Section]:
    """Every section in order; `told` is called with the name of what is asked next."""
    search = search_of(selection.query())
    yield Section(
        "in-short", "In short", "Are we doing good work, and is it getting better?", owner_page(desk, selection, told)
    )
    made = []
    for page in (SUPPORTS, SYMMETRY, RETURNS):
        told(page.name)
        made.append(Section(page.path, page.name, page.question, _page_nodes(page, desk, search)))
        yield made[-1]
    told("Trends")
    yield Section("trends", "Trends", "How do the figures move over time?", _nodes_or_refusal(lambda: _trends(desk, selection)))
    told("Fitters")
    if with_fitters:
        made.append(Section("fitters", FITTERS.name, FITTERS.question, _page_nodes(FITTERS, desk, search)))
        yield made[-1]
    else:
        yield Section(
            "fitters", "Fitters", "What was done in each fitter's fits?", _nodes_or_refusal(lambda: _process(desk, selection))
        )
    told("Data")
    yield Section("data", "Data quality", data.QUESTION, _nodes_or_refusal(lambda: _data(desk, selection)))
    yield Section("methods", "Methods and cautions", "How far can this be trusted, and for what?", _methods(made))


def _page_nodes(page: Page, desk: Desk, search: str) -> list[Any]:
    """What the page puts in its places, in their order, for the query of an address; failures are told as it tells them."""
    return [fill(search, None) for fill in filled(page, desk).values()]


def _nodes_or_refusal(make: Callable[[], list[Any]]) -> list[Any]:
    """What a section holds, or the sentence why it holds nothing."""
    try:
        return make()
    except StatisticsError as refusal:
        return [fault_note(refusal)]


def _trends(desk: Desk, selection: Selection) -> list[Any]:
    answer: Any = desk.asker.ask("trends", replace(selection, date_from=None, date_to=None, split=None))
    window = Window(selection.date_from, selection.date_to)
    _, *rest = control_charts(desk, selection, answer, window, STUDIO_TEXT, None)
    said = headline(f"{over_time(answer)}, {answer.every} by {answer.every}.")
    return [said, html.H2(f"Figures by {answer.every}", className="for-readers"), *rest]


def _process(desk: Desk, selection: Selection) -> list[Any]:
    answer: Any = desk.asker.ask("fitters", selection)
    level = number(desk.level, "share")
    return [
        html.P("What was done is told here; what came of it, beside what was to be expected, is for the head fitter."),
        table("Shares of each fitter's fits", process_columns(), done(answer.process), row_key="fitter_id"),
        reading(*paragraphs(FITTERS_TEXT["process"], level=level)),
    ]


def _data(desk: Desk, selection: Selection) -> list[Any]:
    answer: Any = desk.asker.ask("data", selection)
    noise: Any = desk.asker.ask("noise", selection)
    watched: Any = desk.asker.ask("rig", selection)
    return [
        *data.head_of(answer),
        *data.came_in(desk, selection, answer, None),
        *held.completeness(desk, selection, answer, DATA_TEXT),
        *held.noise(desk, selection, noise, DATA_TEXT),
        *rig(desk, selection, watched, DATA_TEXT, None),
    ]


def _methods(made: list[Section]) -> list[Any]:
    nodes: list[Any] = [html.P(words) for words in CAUTION]
    for section in made:
        for method in of_class(section.nodes, "method"):
            _, *passages = method.children  # the first is what unfolds it
            nodes += [html.H2(section.name, className="section-title"), *passages]
    return nodes
