"""What changed since the last look: the sentences claim no more than the interval that the figure had then."""

from dataclasses import replace
from datetime import date
from typing import Any

from dashboard.pages.studio.since import key_of, look_of, read_look, sentence, since
from dashboard.pages.studio.spans import lead_in, spans_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_studio import Studio
from tests.unit.made_answers import FIGURES, made_studio

ALL = Selection()


def words(part: Any) -> str:
    """The text of a component."""
    if isinstance(part, str):
        return part
    children = part if isinstance(part, list) else getattr(part, "children", None) or []
    return " ".join(words(each) for each in (children if isinstance(children, list) else [children]))


def looked(answer: Studio, today: str, looks: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """The section's words, and the looks as the browser keeps them afterwards."""
    section = since(ALL, answer, {"today": today, "looks": looks})
    look = section[-1].data
    return words(section[:-1]), {**looks, look["key"]: look["entry"]}


def moved() -> Studio:
    first, *others = FIGURES
    return replace(made_studio(), figures=(replace(first, estimate=0.7, low=0.66, high=0.74, n=900), *others))


def test_the_first_look_says_so_and_is_kept() -> None:
    told, looks = looked(made_studio(), "2026-07-01", {})
    assert "first look" in told
    assert read_look(looks[key_of(ALL, made_studio().as_of)]["last"]) == look_of(made_studio(), "2026-07-01")


def test_the_same_figures_again_are_nothing_new() -> None:
    _, looks = looked(made_studio(), "2026-07-01", {})
    told, _ = looked(made_studio(), "2026-07-09", looks)
    assert "Nothing. The figures are those of your last look, 1 Jul 2026." in told


def test_a_figure_that_moved_is_told_beside_its_earlier_interval_however_often_the_page_is_loaded() -> None:
    _, looks = looked(made_studio(), "2026-07-01", {})
    for _ in range(3):
        told, looks = looked(moved(), "2026-08-02", looks)
        assert "Compared with what you saw on 1 Jul 2026, with data up to 30 Jun 2026:" in told
        assert (
            "Knees better at departure: 70\u202f% now, 63\u202f% then; outside the interval it had, "
            "59 to 68\u202f% (+112 in n)." in told
        )
        assert "Comfort gained: 1.4\u202fpoints, as it was." in told


def test_only_the_figures_the_days_and_a_digest_are_kept() -> None:
    selection = Selection(fitter=("F1",))
    look = since(selection, made_studio(), {"today": "2026-07-01", "looks": {}})[-1].data
    assert set(look["entry"]["last"]) == {"on", "data_to", "figures"}
    assert set(look["entry"]["last"]["figures"]) == {figure.figure for figure in FIGURES}
    assert "F1" not in str(look)


def test_a_span_that_ends_with_the_data_is_the_same_selection_when_the_data_go_on() -> None:
    june, july = (Selection(date_from=date(2026, 1, 1), date_to=date(2026, month, 28)) for month in (6, 7))
    assert key_of(june, date(2026, 6, 28)) == key_of(july, date(2026, 7, 28))
    assert key_of(june, date(2026, 7, 28)) != key_of(july, date(2026, 7, 28))


def test_what_a_browser_kept_in_another_form_is_no_look() -> None:
    for kept in (
        None,
        3,
        "x",
        {},
        {"on": "yesterday", "data_to": "", "figures": {}},
        {"on": "2026-01-01", "figures": {"a": [1]}},
    ):
        assert read_look(kept) is None
    told, _ = looked(made_studio(), "2026-07-01", {key_of(ALL, made_studio().as_of): {"last": {"on": 3}}})
    assert "first look" in told


def test_a_figure_that_came_or_went_is_told() -> None:
    none, some = (None, None, None, 4), (0.5, 0.4, 0.6, 40)
    assert sentence("return_rate", none, some) == "Fits seen again in time: not enough then, 50\u202f% now (+36 in n)."
    assert sentence("return_rate", some, none) == "Fits seen again in time: 50\u202f% then, not enough now (−36 in n)."
    assert sentence("return_rate", None, none) == "Fits seen again in time: not enough yet, as before."
    within = sentence("return_rate", some, (0.55, 0.45, 0.65, 40))
    assert within == "Fits seen again in time: 55\u202f% now, 50\u202f% then; within the interval it had, 40 to 60\u202f%."


def test_spans_follow_the_last_day_of_the_data() -> None:
    spans = spans_of(date(2026, 8, 28))
    assert [(span.name, span.start, span.end) for span in spans[1:]] == [
        ("This quarter", date(2026, 7, 1), date(2026, 8, 28)),
        ("Last quarter", date(2026, 4, 1), date(2026, 6, 30)),
        ("This year", date(2026, 1, 1), date(2026, 8, 28)),
    ]
    assert spans_of(date(2026, 2, 3))[2].start == date(2025, 10, 1)
    assert len(spans_of(None)) == 1


def test_the_lead_in_says_of_which_dates_the_page_speaks() -> None:
    spans = spans_of(date(2026, 8, 28))
    assert lead_in(ALL, spans) == "All fits so far"
    this_quarter = Selection(date_from=date(2026, 7, 1))
    assert lead_in(this_quarter, spans) == "This quarter so far, from 1 Jul 2026 to 28 Aug 2026"
    assert lead_in(Selection(date_to=date(2025, 1, 1)), spans) == "Fits up to 1 Jan 2025"
    assert lead_in(Selection(date_from=date(2025, 1, 1)), spans) == "Fits from 1 Jan 2025"
