"""The words of a selection: parsed, refused, and written back as an address."""

from datetime import date
from urllib.parse import parse_qsl

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.questions.selection.selection import FOREFOOT_CLASSES, Selection, parse_selection
from shared.errors import UsageError


def test_words_become_a_selection() -> None:
    words = {
        "from": "2026-01-07",
        "to": date(2026, 6, 30),
        "studio": "ropewalk, quayside",
        "arch_height": "High,low",
        "side": "",
    }
    assert parse_selection(words) == Selection(
        date_from=date(2026, 1, 7),
        date_to=date(2026, 6, 30),
        studio=("quayside", "ropewalk"),
        arch_height=("low", "high"),
    )


def test_all_findings_are_told_at_once() -> None:
    with pytest.raises(UsageError) as refused:
        parse_selection({"studoi": "x", "from": "7.1.2026", "side": "middle", "split": "colour"})
    text = str(refused.value)
    assert "'studoi' is no word of a selection; the nearest one is 'studio'." in text
    assert "from: found '7.1.2026', expected a date such as 2026-01-31." in text
    assert "side: found 'middle', expected one of left, right." in text
    assert "split: found 'colour', expected one of foot_type" in text


def test_dates_in_the_wrong_order_are_refused() -> None:
    with pytest.raises(UsageError, match="exchange the two"):
        parse_selection({"from": "2026-02-01", "to": "2026-01-01"})


@given(
    date_from=st.none() | st.dates(date(1990, 1, 1), date(2026, 1, 1)),
    studio=st.lists(st.sampled_from(["quayside", "ropewalk", "a b"]), unique=True),
    forefoot=st.lists(st.sampled_from(FOREFOOT_CLASSES), unique=True),
    split=st.none() | st.just("foot_type"),
)
def test_an_address_reproduces_its_selection(
    date_from: date | None, studio: list[str], forefoot: list[str], split: str | None
) -> None:
    selection = parse_selection({"from": date_from, "studio": studio, "forefoot": forefoot, "split": split})
    assert parse_selection(dict(parse_qsl(selection.query()))) == selection


def test_riders_are_known_by_their_own_ids_letter_by_letter() -> None:
    selection = parse_selection({"rider": "R0012, r0012"})
    assert selection.rider == ("R0012", "r0012")
    assert selection.parameters()["rider"] == ["R0012", "r0012"]
    assert selection.query() == "rider=R0012,r0012"
