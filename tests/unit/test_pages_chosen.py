"""What is chosen is told in words, each with the address of the same page without it."""

import json
from datetime import date
from typing import Any

from dashboard.app import create_app
from dashboard.components import ids
from dashboard.components.address import Addresses, View
from dashboard.components.chosen import chosen_words
from dashboard.questions.selection.selection import FIELDS, parse_selection
from tests.every_view import EVERY_VIEW
from tests.unit.made_answers import MadeAsker

ADDRESSES = Addresses("/studio/")


def told(words: dict[str, Any], page_words: dict[str, str] | None = None, *, splits: bool = True) -> dict[str, tuple[str, str]]:
    """Address and class by what is said."""
    made = chosen_words(ADDRESSES, "supports", View(parse_selection(words), page_words or {}), splits=splits)
    if made is None:
        return {}
    return {item.children.children[1]: (item.children.href, item.className) for item in made.children}


def test_nothing_chosen_says_nothing() -> None:
    assert told({}) == {}


def test_each_word_is_taken_away_alone_and_the_place_in_a_list_with_it() -> None:
    given = told({"from": date(2026, 2, 1), "side": "left", "rider": "R1,R2"}, {"outcome": "sway", "start": "40"})
    assert given == {
        "From: 1 Feb 2026": ("/studio/supports?side=left&rider=R1,R2&outcome=sway", "has-dates"),
        "Side: left": ("/studio/supports?from=2026-02-01&rider=R1,R2&outcome=sway", "has-further"),
        "Rider: R1 or R2": ("/studio/supports?from=2026-02-01&side=left&outcome=sway", "has-no-control"),
    }


def test_codes_are_words_and_many_values_are_counted() -> None:
    assert list(told({"forefoot": "mild_varus,neutral"})) == ["Forefoot: neutral or mild varus"]
    assert list(told({"rider": [f"R{n}" for n in range(1200)]})) == ["Rider: 1,200 chosen"]


def test_a_split_is_told_where_the_page_splits() -> None:
    assert list(told({"split": "arch_height"})) == ["Split by: arch height"]
    assert told({"split": "arch_height"}, splits=False) == {}


def test_every_word_of_a_selection_can_be_told() -> None:
    codes = {"from": "2026-01-01", "to": "2026-02-01", "visit_kind": "first", "riding": "road", "arch_height": "low",
             "forefoot": "neutral", "side": "left", "split": "side"}  # fmt: skip
    assert len(told({word: codes.get(word, "x") for word in FIELDS})) == len(FIELDS)


def test_the_control_of_the_split_is_shown_on_the_pages_that_split() -> None:
    client = create_app(MadeAsker()).server.test_client()  # type: ignore[arg-type]
    outputs = [{"id": ids.PAGE, "property": "children"}, {"id": ids.SPLIT, "property": "hidden"}]
    for page in EVERY_VIEW:
        body = {
            "output": f"..{ids.PAGE}.children...{ids.SPLIT}.hidden..",
            "outputs": outputs,
            "inputs": [{"id": ids.URL, "property": "pathname", "value": f"/{page.path}"}],
            "state": [{"id": ids.URL, "property": "search", "value": ""}],
            "changedPropIds": [f"{ids.URL}.pathname"],
        }
        answered = json.loads(client.post("/_dash-update-component", json=body).get_data())["response"]
        assert answered[ids.SPLIT]["hidden"] is not page.splits
        assert page.question in json.dumps(answered[ids.PAGE])
