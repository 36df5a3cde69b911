"""The registry of questions: each entry says what its module takes, and a row that is not known to be nobody's is kept."""

import inspect
from datetime import date

import pytest

from dashboard.questions.door.registry import QUESTIONS, by_period
from dashboard.questions.selection.answers import Answer
from dashboard.questions.studio import beside
from dashboard.questions.studio.answers_trends import BesideRow
from shared.errors import UsageError


@pytest.mark.parametrize("name", QUESTIONS)
def test_an_entry_says_what_its_question_takes(name: str) -> None:
    question = QUESTIONS[name]
    assert question.name == name
    warehouse, selection, settings, *others = inspect.signature(question.ask).parameters
    assert [warehouse, selection, settings] == ["warehouse", "selection", "settings"] and "remember" in others
    assert ("today" in others, "every" in others) == (question.knows_today, question.by_period)
    assert ("logbook" in others) == question.knows_logbook
    assert ("entries" in others) == bool(question.knows_entries)
    assert set(question.leans_on) <= set(others) & set(QUESTIONS)


@pytest.mark.parametrize("name", sorted(set(QUESTIONS) - {"riders"}))
def test_what_is_decided_of_lists_is_decided_of_lists_that_are_there(name: str) -> None:
    answer = inspect.signature(QUESTIONS[name].ask).return_annotation
    assert issubclass(answer, Answer)
    sight, lists = QUESTIONS[name].sight, answer.lists()
    assert sight.decided() <= set(lists)
    for listed, counted in sight.figures.items():
        fields = inspect.get_annotations(lists[listed])
        assert {*counted.key, *counted.parts, *counted.riders, *counted.cells, *filter(None, [counted.units])} <= set(fields)
    for listed, rows in sight.own_rows.items():
        assert {*filter(None, [rows.fitter, rows.by])} <= set(inspect.get_annotations(lists[listed]))


def test_a_row_of_a_kind_that_nobody_decided_on_is_kept_from_a_fitter() -> None:
    """It was given unless its name began like one of a fitter's."""
    seen = QUESTIONS["trends"].sight.own_rows["beside"]

    def row(kind: str) -> BesideRow:
        return BesideRow("booked", "one_side", date(2026, 3, 1), kind, "share", None, None, None, None, None, None, "")

    assert [kind for kind, *_ in beside._FIGURES if not seen.is_seen(row(kind), "F2")] == []
    assert not seen.is_seen(row("fitter_mix"), "F2")
    assert not seen.is_seen(row("share_of_a_colleague"), "F2")


def test_periods_are_told_by_the_questions_that_say_so() -> None:
    assert by_period("trends", "week") == {"every": ("week",)}
    with pytest.raises(UsageError, match="noise is not told by period, only trends"):
        by_period("noise", "week")
    with pytest.raises(UsageError, match="'weather' is no question"):
        by_period("weather", "week")
