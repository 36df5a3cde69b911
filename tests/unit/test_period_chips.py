"""Spans of the calendar in the filter bar: links that follow today, and what Studio shows where no dates are chosen."""

import json
from datetime import date
from typing import Any

import pytest

from dashboard import app
from dashboard.components.address import Addresses, query_for, read_view
from dashboard.components.page import Desk
from dashboard.components.period_chips import chip_links, chips_of, period_chips
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.readers import LOCAL
from dashboard.questions.selection.selection import Selection
from shared.freshness import Freshness
from tests.unit.made_answers import MadeAsker

TODAY = date(2026, 8, 31)


def shown(component: Any) -> Any:
    return json.loads(json.dumps(component, default=lambda part: part.to_plotly_json()))


def links(search: str, path: str = "", closed: date | None = None) -> dict[str, tuple[str, bool]]:
    """Address of each span by its name, and whether it is the one that is shown."""
    made = chip_links(Addresses("/studio/"), path, read_view(search), chips_of(TODAY, closed), by_month=not path)
    found = {}
    for item in shown(made)["props"]["children"]:
        link = item["props"]["children"]["props"]
        name = link["children"]
        is_shown = isinstance(name, list)
        found[name[0] if is_shown else name] = (link["href"], is_shown)
    return found


def test_spans_follow_today_and_keep_the_other_words() -> None:
    assert links("?from=2026-01-05&studio=quayside&outcome=sway&start=x", "supports") == {
        "Last month": ("/studio/supports?from=2026-07-01&to=2026-07-31&studio=quayside&outcome=sway", False),
        "This quarter": ("/studio/supports?from=2026-07-01&studio=quayside&outcome=sway", False),
        "Last quarter": ("/studio/supports?from=2026-04-01&to=2026-06-30&studio=quayside&outcome=sway", False),
        "This year": ("/studio/supports?from=2026-01-01&studio=quayside&outcome=sway", False),
        "All": ("/studio/supports?studio=quayside&outcome=sway", False),
    }


@pytest.mark.parametrize(
    ("search", "path", "name"),
    [
        ("", "", "Last month"),  # Studio without dates tells of the last month
        ("?span=all", "", "All"),
        ("?from=2026-07-01&to=2026-07-31", "", "Last month"),
        ("?from=2026-01-01", "", "This year"),
        ("", "supports", "All"),
        ("?from=2026-04-01&to=2026-06-30", "supports", "Last quarter"),
        ("?from=2026-04-02&to=2026-06-30", "supports", None),
    ],
)
def test_the_span_that_a_page_shows_is_marked(search: str, path: str, name: str | None) -> None:
    assert [span for span, (_, is_shown) in links(search, path).items() if is_shown] == ([name] if name else [])


def test_all_dates_on_studio_are_a_word_of_its_own() -> None:
    assert links("?from=2026-01-05&side=left")["All"][0] == "/studio/?side=left&span=all"
    assert links("?span=all&side=left")["This year"][0] == "/studio/?from=2026-01-01&side=left"


def test_a_reader_whose_figures_end_with_a_quarter_is_offered_what_is_closed() -> None:
    assert {name: href for name, (href, _) in links("", "", date(2026, 3, 31)).items()} == {
        "Last closed quarter": "/studio/?from=2026-01-01&to=2026-03-31",
        "Last closed year": "/studio/?from=2025-01-01&to=2025-12-31",
        "All": "/studio/?span=all",
    }


@pytest.mark.parametrize(
    ("is_of_demo", "words"),
    [
        (True, "The demo's today is 31 Aug 2026, newest row 28 Aug"),
        (False, "Today is 31 Aug 2026, newest row 28 Aug"),
    ],
)
def test_the_day_by_which_they_are_is_told(is_of_demo: bool, words: str) -> None:
    age = Freshness(date(2026, 8, 28), TODAY, 7, is_of_demo)
    label, _ = period_chips(Addresses("/"), "", read_view(""), age, None, by_month=True)
    assert label.children == words


def test_a_rider_goes_no_further_than_riders() -> None:
    asked = Selection(rider=("R0012",), studio=("quayside",))
    assert query_for("riders", asked) == "studio=quayside&rider=R0012"
    assert query_for("supports", asked) == query_for("", asked) == "studio=quayside"


def test_the_links_to_the_pages_drop_a_rider() -> None:
    desk = Desk(AskedBy(MadeAsker(), lambda: LOCAL), Addresses("/"))  # type: ignore[arg-type]
    navigation, _, _, chips = app._kept_query(desk, "?rider=R0012&studio=north", "/riders")
    ways = [item["props"]["children"]["props"]["href"] for item in shown(navigation)["props"]["children"]]
    assert "/riders?studio=north&rider=R0012" in ways
    assert sum("rider=" in way for way in ways) == 2  # Next rider tells of one rider too
    assert "/riders?from=2026-05-01&to=2026-05-31&studio=north&rider=R0012" in json.dumps(shown(chips))
