"""The answer of Riders: one rider's sentence and timeline; without a rider the search and those who deserve a look first."""

from typing import Any, Final

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.notes import headline, selected
from dashboard.components.page import Desk, Show
from dashboard.components.rider_search import search_box
from dashboard.components.table import table
from dashboard.figures.timeline import alternative, change_numbers, finding, timeline_figure
from dashboard.pages.riders import ids, listing
from dashboard.pages.riders.tables import both_knees, capture_columns
from dashboard.pages.riders.told import Told
from dashboard.questions.riders.answers_riders import Riders, RiderTimeline
from dashboard.questions.selection.selection import Selection

# So many of those who deserve a look stand below the search.
FIRST_SHOWN: Final = 6
# So many captures a phone shows at once; beyond them each keeps this width.
MOST_ON_A_PHONE, CAPTURE_PX = 15, 26


def head(desk: Desk) -> Show:
    def show(view: View, theme: str | None) -> Any:
        answer: Any = desk.asker.ask("riders", view.selection)
        if isinstance(answer, Riders):
            return [selected(answer, riders=answer.n_riders), headline(answer.headline)]
        told = Told(desk, view.selection, view.page_words, answer, theme)
        return [
            selected(answer),
            headline(told.fit.told),
            html.P(f"Fit {view.page_words['fit']} is not among the fits selected; another one of the rider is told.")
            if told.is_missing
            else None,
        ]

    return show


def layout() -> list[Any]:
    return [search_box(ids.SEARCH), ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        answer: Any = desk.asker.ask("riders", view.selection)
        if isinstance(answer, RiderTimeline):
            return _of_one(Told(desk, view.selection, view.page_words, answer, theme))
        return _of_all(desk, view.selection, answer)

    return {ids.ANSWER: show}


def _of_all(desk: Desk, selection: Selection, answer: Riders) -> html.Div:
    steps = [
        NextStep(words, listing.address(desk, selection, look), n)
        for look, words in listing.STEPS.items()
        if (n := len(answer.riders.where(look)))
    ]
    every = NextStep("riders in all", listing.address(desk, selection), len(answer.riders))
    first = table(
        "Those with most reasons for a look, the newest fit first",
        listing.columns(desk, selection, answer.not_recorded, brief=True),
        answer.riders[:FIRST_SHOWN],
        row_key="rider_id",
        table_id="riders-first",
    )
    return html.Div([next_steps([*steps, every], heading="What deserves a look"), first], className="riders-first")


def _of_one(told: Told) -> html.Div:
    picture = drawn(told, panels=("tilt",)) if told.answer.captures else html.P("No capture is recorded at these fits.")
    return html.Div([picture, html.Div([told.fit_list(), next_steps(list(_steps(told)))])], className="rider-answer")


def drawn(told: Told, *, panels: tuple[str, ...]) -> html.Div:
    """The timeline, with the captures of the told fit folded under it; where captures are many it scrolls sideways."""
    answer = told.answer
    columns = capture_columns(change_numbers(answer.captures) if panels[1:] else {})
    shown = table("Captures of this fit", columns, both_knees(told.own()["captures"]), table_id=ids.CAPTURES)
    drawing = chart(
        timeline_figure(answer, told.fit.session_id, told.theme, panels=panels),
        title=finding(answer),
        alternative=alternative(answer, panels),
        name="-".join(("timeline", *panels)),
        level=2,
        table=shown,
    )
    n = len({row.place for row in answer.captures})
    is_long = n > MOST_ON_A_PHONE
    return html.Div(
        html.Div(drawing, style={"minWidth": f"{n * CAPTURE_PX}px"}) if is_long else drawing,
        className=" ".join(
            name for name, is_so in (("panels is-single", panels[1:]), ("is-long", is_long), ("is-alone", True)) if is_so
        ),
    )


def _steps(told: Told) -> list[NextStep]:
    """What deserves a look of this rider, each where it is looked at."""
    desk, rider = told.desk, told.answer.rider
    looks = rider.look.split(", ")
    state = listing.follow_up_words(rider)
    steps = {
        "overdue": NextStep(f"{state[:1].upper()}{state[1:]}: call", desk.addresses.page("returns/calls")),
        "not_held": NextStep("It did not hold", told.address("fit-by-fit")),
        "side_difference": NextStep("Side difference remains", told.address("fit-by-fit")),
        "flag": NextStep("Far from the exam", told.address("exam")),
    }
    return [
        *(step for look, step in steps.items() if look in looks),
        NextStep(
            "What tended to follow for such feet", desk.addresses.page("next", Selection(rider=(rider.rider_id,)).query())
        ),
    ]
