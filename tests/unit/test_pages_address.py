"""The address is the view: words of the selection in their own form, page words behind them, controls in step."""

from datetime import date

import pytest
from dash import no_update

from dashboard.components import ids
from dashboard.components.address import Addresses, read_view, search_of, split_query
from dashboard.components.filter_bar import CONTROLS, follow_address, follow_controls, in_step
from dashboard.questions.selection.selection import Selection, parse_selection
from shared.errors import UsageError

FULL = "?from=2026-01-01&studio=north,south&arch_height=low,high&split=side&outcome=sway&start=20"


def values(**given: object) -> tuple[object, ...]:
    return tuple(given.get(word, []) for word in CONTROLS)


def test_selection_and_page_words_are_told_apart() -> None:
    words, page_words = split_query(FULL)
    assert words == {"from": "2026-01-01", "studio": "north,south", "arch_height": "low,high", "split": "side"}
    assert page_words == {"outcome": "sway", "start": "20"}


def test_a_view_is_the_parsed_selection() -> None:
    view = read_view(FULL)
    assert view.selection == Selection(
        date_from=date(2026, 1, 1), studio=("north", "south"), arch_height=("low", "high"), split="side"
    )


@pytest.mark.parametrize("search", [None, "", "?"])
def test_no_query_is_the_whole(search: str | None) -> None:
    assert read_view(search).selection == Selection()


def test_an_unknown_word_in_the_address_is_told() -> None:
    with pytest.raises(UsageError, match="'archheight' is no word of a selection"):
        read_view("?archheight=low")


def test_the_address_holds_the_selection_exactly_as_it_says_itself() -> None:
    selection = parse_selection({"studio": "b & c,a", "to": "2026-03-01"})
    assert search_of(selection.query()) == "?" + selection.query()
    assert read_view(search_of(selection.query(), {"outcome": "tilt"})).selection == selection


def test_controls_make_the_address_and_the_address_the_controls() -> None:
    given = values(**{"from": "2026-01-01", "studio": ["south", "north"], "arch_height": ["high", "low"], "split": "side"})
    search = follow_controls("?outcome=sway&start=40", given)
    assert search == "?from=2026-01-01&studio=north,south&arch_height=low,high&split=side&outcome=sway"
    followed = follow_address(search)
    assert followed is not None
    assert followed[0] == search
    assert dict(zip(CONTROLS, followed[1], strict=True)) == {
        **{word: [] for word in CONTROLS},
        "from": "2026-01-01",
        "to": None,
        "studio": ["north", "south"],
        "arch_height": ["low", "high"],
        "split": "side",
    }


def test_a_rider_has_no_control_and_stays_in_the_address_until_reset() -> None:
    assert "rider" not in CONTROLS
    address, view, *_ = in_step(ids.control("side"), "?rider=R0012,R0031", values(side=["left"]), "?rider=R0012,R0031")
    assert address == view == "?side=left&rider=R0012,R0031"
    assert follow_address(address)[0] == address  # type: ignore[index]
    address, view, *_ = in_step(ids.RESET, address, values(side=["left"]), view)
    assert (address, view) == ("", "")


def test_a_faulty_address_leaves_the_controls_and_reaches_the_page() -> None:
    address, view, *controls = in_step(ids.URL, "?arch_height=flat", values(), None)
    assert (address, view) == (no_update, "?arch_height=flat")
    assert all(control is no_update for control in controls)


def test_dates_in_the_wrong_order_reach_the_page_as_they_are() -> None:
    search = follow_controls("", values(**{"from": "2026-02-01", "to": "2026-01-01"}))
    with pytest.raises(UsageError, match="exchange the two"):
        read_view(search)


def test_a_touched_control_changes_address_and_view_and_no_control() -> None:
    address, view, *controls = in_step(ids.control("side"), "", values(side=["left"]), "")
    assert address == view == "?side=left"
    assert all(control is no_update for control in controls)


def test_a_second_touch_before_the_first_is_answered_undoes_nothing() -> None:
    side, studio = ids.control("side"), ids.control("studio")
    # The first answer was dropped: view and address are those of before the first touch.
    given = values(**{"from": "2026-01-01"}, side=["left"], studio=["a"])
    address, view, *_ = in_step(studio, "?from=2026-01-01", given, "?from=2026-01-01")
    assert address == view == "?from=2026-01-01&studio=a&side=left"
    # A link first, whose dates have not reached the controls.
    address, view, *controls = in_step(side, "?from=2026-01-01&every=week", values(side=["left"]), "?every=week")
    assert address == view == "?from=2026-01-01&side=left&every=week"
    assert controls[0] == "2026-01-01"
    assert all(control is no_update for control in controls[1:])
    # A control first, and then a link.
    address, view, *controls = in_step(ids.URL, "?look=overdue", values(side=["left"]), "")
    assert address == view == "?side=left&look=overdue"
    assert all(control is no_update for control in controls)
    # What the link says of a control that was not touched.
    address, view, *controls = in_step(ids.URL, "", values(side=["left"]), "?side=left")
    assert (address, view) == (no_update, "")
    assert controls[list(CONTROLS).index("side")] == []


def test_the_address_comes_before_what_empty_controls_report() -> None:
    _, view, *controls = in_step(ids.control("side"), "?side=left", values(), None)
    assert view == "?side=left"
    assert controls[list(CONTROLS).index("side")] == ["left"]


def test_an_address_already_shown_changes_nothing() -> None:
    address, view, *_ = in_step(ids.control("side"), "?side=left", values(side=["left"]), "?side=left")
    assert address is no_update
    assert view is no_update


def test_reset_empties_address_and_controls() -> None:
    address, view, *controls = in_step(ids.RESET, FULL, values(side=["left"]), FULL)
    assert (address, view) == ("", "")
    assert controls == [None, None, [], [], [], [], [], [], [], [], None]


@pytest.mark.parametrize("prefix", ["/", "/studio/"])
def test_addresses_keep_the_prefix(prefix: str) -> None:
    addresses = Addresses(prefix)
    assert addresses.page("data", "side=left", {"start": "20"}) == f"{prefix}data?side=left&start=20"
    assert addresses.table("trends", "trend", Selection(), "week").endswith("download/trends.csv?rows=trend&every=week")
    assert addresses.table("studio", "trend", Selection(side=("left",))) == (
        f"{prefix}download/studio.csv?side=left&rows=trend"
    )
    assert addresses.path(f"{prefix}supports") == "supports"
    assert addresses.path(prefix) == ""
