"""A page's views: addresses, tabs that carry the selection, and older addresses that lead on."""

import json
from typing import Any

import pytest

from dashboard import app as app_module
from dashboard.app import create_app
from dashboard.components.address import Addresses
from dashboard.components.page import Page, PageView, frame, moved_to, view_tabs
from dashboard.pages import PAGES
from tests.unit.made_answers import MadeAsker

MADE = Page(
    "made",
    "Made",
    "Is it made?",
    lambda _: lambda view, theme: "answered",
    (
        PageView("", "Answer", lambda: ["made-picture"]),
        PageView("for-whom", "For whom", lambda: ["made-grid"], splits=True),
    ),
    moved={"#made-grid": "for-whom", "outcome": "for-whom"},
)


def shown(component: Any) -> Any:
    return json.loads(json.dumps(component, default=lambda part: part.to_plotly_json()))


def links(tabs: Any) -> list[tuple[str, str, bool]]:
    """Words, address and whether it is the current one, of each tab."""
    return [
        (link["props"]["children"], link["props"]["href"], link["props"].get("aria-current") == "page")
        for item in shown(tabs)["props"]["children"]
        for link in [item["props"]["children"]]
    ]


def test_tabs_lead_to_every_view_with_the_selection_and_mark_this_one() -> None:
    tabs = view_tabs(MADE, MADE.views[1], Addresses("/studio/"), "?side=left&outcome=sway&start=x")
    assert links(tabs) == [
        ("Answer", "/studio/made?side=left&outcome=sway", False),
        ("For whom", "/studio/made/for-whom?side=left&outcome=sway", True),
    ]


def test_tabs_of_an_address_with_a_fault_lead_to_all_fits_and_one_view_alone_has_none() -> None:
    assert [href for _, href, _ in links(view_tabs(MADE, MADE.views[0], Addresses("/"), "?sid=left"))] == [
        "/made",
        "/made/for-whom",
    ]
    alone = Page("made", "Made", "Is it made?", MADE.head, MADE.views[:1])
    assert view_tabs(alone, alone.views[0], Addresses("/"), "") is None


def test_the_frame_holds_the_head_the_tabs_and_the_places_of_the_view() -> None:
    parts = [part for part in frame(MADE, MADE.views[1], Addresses("/"), "")._traverse() if getattr(part, "id", None)]
    assert [part.id for part in parts] == ["page-title", "made-head", "view-tabs", "made-grid"]
    heading = shown(parts[0])["props"]
    assert heading["data-title"] == "For whom · Made" and heading["data-home"] == "/made"
    assert json.loads(heading["data-moved"]) == {"made-grid": "/made/for-whom"}


def test_heads_are_distinct_and_the_answer_is_the_first_view() -> None:
    assert len({page.head_id for page in PAGES}) == len(PAGES)
    assert [page.views[0].path for page in PAGES] == [""] * len(PAGES)


@pytest.mark.parametrize(
    ("words", "path"),
    [({"outcome": "tilt"}, "made/for-whom"), ({"side": "left"}, None), ({"#made-grid": "1"}, None)],
)
def test_a_word_that_has_moved_names_its_view(words: dict[str, str], path: str | None) -> None:
    assert moved_to(MADE, words) == path


def test_an_older_address_is_sent_on_with_its_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app_module, "PAGES", (MADE,))
    client = create_app(MadeAsker()).server.test_client()  # type: ignore[arg-type]
    answer = client.get("/made?outcome=tilt&side=left")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/made/for-whom?outcome=tilt&side=left")
    assert client.get("/made?side=left").status_code == 200
    assert client.get("/made/for-whom?outcome=tilt").status_code == 200
