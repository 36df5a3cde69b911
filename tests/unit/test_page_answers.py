"""What the pages say around their pictures: titles, counts of what waits and facts, from answers that are set by hand."""

import re
from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest

from dashboard.components.address import Addresses
from dashboard.components.choices import turning, within
from dashboard.components.next_steps import NextStep
from dashboard.components.shown_rows import text_of
from dashboard.pages import PAGES
from dashboard.pages.fitters import answer as fitters
from dashboard.pages.fitters import worst
from dashboard.pages.returns import answer as returns
from dashboard.pages.riders.told import Told
from dashboard.pages.studio import answer as studio
from dashboard.pages.supports import answer as supports
from dashboard.pages.symmetry import answer as symmetry
from dashboard.questions.coaching.answers_agreement import LookRow, WorstRow
from dashboard.questions.coaching.answers_fitters import FitterRow
from dashboard.questions.returns.answers_returns import HeldRow
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_periods import KneesRow
from shared.errors import NotPermittedError
from shared.settings import Settings
from tests.unit.made_periods import made_periods
from tests.unit.test_effect_words import SHOWN
from tests.unit.test_riders_words import FIT

PERIODS = made_periods()
EVERY = Selection()


def made_desk(answers: dict[str, Any] | None = None, **asker: Any) -> Any:
    """A desk whose asker knows these answers, whatever is selected, and may load."""

    def ask(question: str, _: Selection) -> Any:
        return (answers or {})[question]

    given = {"ask": ask, "settings": Settings(), "fitter": None, "require_loading": lambda: None, **asker}
    return SimpleNamespace(asker=SimpleNamespace(**given), addresses=Addresses("/"))


def told(steps: Any) -> list[tuple[str, int | None]]:
    return [(step.words, step.count) for step in steps]


def answered(**lists: Any) -> Any:
    return SimpleNamespace(**lists)


def judged(*ways: str) -> Any:
    """The period's four figures, told so beside the month before."""
    changes = [row for row in PERIODS.changes if row.against == "before"]
    return replace(PERIODS, changes=tuple(replace(row, judged=way) for row, way in zip(changes, ways, strict=True)))


def test_the_studios_title_counts_what_is_better_unclear_and_worse_than_before() -> None:
    unclear, none = "no clear change", "not enough yet"
    assert (
        studio.beside_title(judged("worse", "better", unclear, "better")) == "Beside May: 2 better, 1 no clear change, 1 worse"
    )
    assert studio.beside_title(judged("worse", none, none, none)) == "Beside May: 1 worse, 3 not enough yet"
    assert studio.beside_title(judged(*[unclear] * 4)) == "Beside May: no clear change in any figure"
    assert studio.beside_title(judged(*[none] * 4)) == "Nothing earlier yet to compare with"
    assert studio.beside_title(judged(*[""] * 4)) == "Nothing earlier yet to compare with"


def test_knees_better_are_told_beside_those_that_are_not() -> None:
    assert (
        studio._knees(PERIODS).replace("\N{NARROW NO-BREAK SPACE}", " ")
        == "Knees: 12 % better, 85 % no clear change, 3 % worse."
    )
    assert studio._knees(replace(PERIODS, knees=())) == ""
    assert studio._knees(replace(PERIODS, knees=(KneesRow("this", "better", 3, 1, None, None, None),))) == ""
    assert studio._knees(replace(PERIODS, knees=tuple(replace(row, which="before") for row in PERIODS.knees))) == ""


@pytest.mark.parametrize("n", [0, 1, 3])
def test_what_waits_is_counted_and_nothing_is_left_out(n: int) -> None:
    desk = made_desk(
        {
            "calls": answered(calls=(None,) * n),
            "agreement": answered(n_to_look_at=n),
            "data": answered(tables=[answered(rejected=n, waiting=0)]),
            "rig": answered(findings=(None,) * n),
        },
        freshness=lambda: answered(age_days=n),
    )
    steps = [
        told(find(desk, EVERY))
        for find in (studio.calls_due, studio.fits_to_look_at, studio.rows_left_out, studio.rig_findings, studio.age)
    ]
    words = {
        1: (
            "call due today", "fit of these dates to look at with the fitter", "row left out, to mend",
            "finding on what the rig measures", "day since the newest row: load what came since",
        ),
        3: (
            "calls due today", "fits of these dates to look at with the fitter", "rows left out, to mend",
            "findings on what the rig measures", "days since the newest row: load what came since",
        ),
    }  # fmt: skip
    assert steps == [[(told_of, n)] for told_of in words[n]] if n else steps == [[]] * 5


def test_rows_left_out_count_those_that_wait_too_and_are_for_those_who_may_load() -> None:
    tables = [answered(rejected=2, waiting=3), answered(rejected=0, waiting=1)]
    assert told(studio.rows_left_out(made_desk({"data": answered(tables=tables)}), EVERY)) == [("rows left out, to mend", 6)]

    def refuse() -> None:
        raise NotPermittedError("No.")

    with pytest.raises(NotPermittedError):
        list(studio.rows_left_out(made_desk({}, require_loading=refuse), EVERY))


def test_calls_are_those_of_today_whatever_dates_are_looked_at() -> None:
    asked: list[Selection] = []

    def ask(_: str, selection: Selection) -> Any:
        asked.append(selection)
        return answered(calls=(None,))

    dated = Selection(date_from=date(2026, 1, 1), date_to=date(2026, 2, 1), studio=("north",))
    [step] = studio.calls_due(made_desk(ask=ask), dated)
    assert asked == [Selection(studio=("north",))]
    assert step.href == "/returns/calls?studio=north"


def steps_of(made: Any) -> str:
    return text_of(made)


@pytest.mark.parametrize(
    ("n_calls", "n_lost", "words"),
    [
        (2, 3, ("2 calls today", "3 fits did not hold: their riders")),
        (1, 1, ("1 call today", "1 fit did not hold: its rider")),
    ],
)
def test_returns_lead_to_the_calls_and_to_the_fits_that_did_not_hold(n_calls: int, n_lost: int, words: tuple[str, ...]) -> None:
    asked: Any = answered(
        desk=made_desk(),
        selection=EVERY,
        address=lambda view: f"/returns/{view}",
        calls=lambda: answered(calls=(None,) * n_calls),
    )
    held = [HeldRow("held", 9, 9, 9), HeldRow("not_held", 9, n_lost, n_lost)]
    text = " ".join(text_of(returns._steps(asked, answered(held=held))).split())
    assert all(each in text for each in (*words, "Who comes back, by group"))


def test_returns_leave_out_what_nobody_waits_for() -> None:
    asked: Any = answered(
        desk=made_desk(), selection=EVERY, address=lambda view: f"/returns/{view}", calls=lambda: answered(calls=())
    )
    text = text_of(returns._steps(asked, answered(held=[HeldRow("not_held", 9, 0, 0)])))
    assert "call" not in text and "did not hold" not in text and "by group" in text


def test_symmetry_leads_to_riders_of_the_tilt_alone_and_to_what_is_new() -> None:
    def steps(quantity: str, n_new: int, monkeypatch: pytest.MonkeyPatch) -> list[NextStep]:
        monkeypatch.setattr(symmetry, "change_of", lambda *_: answered(n_new=n_new))
        view: Any = answered(query=lambda: "")
        return list(symmetry._steps(answered(quantity=quantity, view=view, desk=made_desk()), None))

    with pytest.MonkeyPatch.context() as patch:
        assert told(steps("tilt", 5, patch)) == [
            ("Riders left with a side difference", None), ("riders left with one they did not come with", 5),
        ]  # fmt: skip
        assert told(steps("offset", 0, patch)) == []
        [new] = steps("offset", 2, patch)
        assert new.href == "/symmetry/what-became-of-it?outcome=offset"
        assert steps("tilt", 2, patch)[1].href == "/symmetry/what-became-of-it"


FITTERS = tuple(
    FitterRow("return_rate", "share", name, n, n, observed=observed)
    for name, n, observed in (("F1", 40, 0.5), ("F2", 3, None), ("F3", 400, None))
)


def test_fitters_with_too_few_fits_for_a_figure_are_told_with_how_many_it_needs() -> None:
    desk = made_desk()
    minimum = Settings().minimum.sessions_per_fitter
    agreement: Any = answered(n_to_look_at=1, worst=())
    assert told(fitters._steps(desk, EVERY, answered(fitters=FITTERS), agreement, {"F2": "Birch"})) == [
        ("fit to look at together, the worst first", 1),
        (f"Birch (F2), 3 of {minimum} fits that a figure needs: look at each", None),
    ]
    many: Any = answered(n_to_look_at=7, worst=())
    assert told(fitters._steps(desk, EVERY, answered(fitters=()), many, {})) == [
        ("fits to look at together, the worst first", 7)
    ]
    assert told(fitters._steps(desk, EVERY, answered(fitters=()), None, {})) == []


WORST = WorstRow(
    "S1", date(2026, 3, 1), "F1", 3, 2, 1, 0, True, True, "2 levels and 1 shim from the exam: tilt left −3.0° to −3.0°."
)


def test_a_reader_of_their_own_cases_waits_for_these_alone() -> None:
    listed: Any = answered(n_to_look_at=9, worst=(WORST, replace(WORST, is_to_look_at=False)))
    assert fitters.waiting(made_desk(), listed) == 9
    assert fitters.waiting(made_desk(fitter="F1"), listed) == 1


def test_the_place_among_the_worst_tells_how_many_there_are_and_whose_are_few() -> None:
    many: Any = answered(n_to_look_at=1200, worst=(WORST,) * 100)
    assert worst._place(made_desk(), many, 10, 10) == "11 to 20 of 100 fits to look at, of 1,200 in all."
    all_listed: Any = answered(n_to_look_at=2, worst=(WORST,) * 2)
    assert worst._place(made_desk(), all_listed, 0, 2) == "1 to 2 of 2 fits to look at."
    some: Any = answered(n_to_look_at=2, worst=(WORST, WORST, replace(WORST, is_to_look_at=False)))
    assert worst._place(made_desk(), some, 0, 3) == (
        "1 to 3 of 3: 2 to look at, and 1 of fitters with too few fits for a figure."
    )


def test_a_case_tells_its_outcome_and_its_findings_without_what_stands_above_them() -> None:
    assert worst._outcome(WORST) == "Tilt left −3.0° to −3.0°."
    look = LookRow("S1", date(2026, 3, 1), "F1", "left", "insole", "flag", "S1, left foot: no insole; low arch")
    assert worst._words(look) == "left foot: no insole; low arch"
    assert worst._words(replace(look, side="", words="S1: the saddle; narrow")) == "the saddle; narrow"
    assert [within(start, 10, 21) for start in (None, "9", "20", "40")] == [0, 9, 20, 20]
    assert within("5", 10, 0) == 0
    links = [
        [(text_of(link), link.href) for link in turning("before", "after", at, 10, 21, str).children if link]
        for at in (0, 10, 20)
    ]
    assert links == [[("after", "10")], [("before", "0"), ("after", "20")], [("before", "10")]]


def test_supports_lead_to_each_other_arch_and_to_estimates_that_differ() -> None:
    def steps(selection: Selection, *words: str) -> list[tuple[str, int | None]]:
        rows = [replace(SHOWN, words=each) for each in words]
        return told(supports._steps(made_desk(), selection, rows))

    apart = "The two estimates differ by more than their noise."
    assert steps(EVERY, "agree", apart, apart) == [
        ("Only low arches", None), ("Only medium arches", None), ("Only high arches", None),
        ("bars span two estimates that differ", 2),
    ]  # fmt: skip
    assert steps(Selection(arch_height=("low",)), "agree") == [
        ("Only medium arches", None), ("Only high arches", None), ("Every arch", None),
    ]  # fmt: skip


def test_a_fit_tells_where_who_and_on_what_it_was() -> None:
    def facts(**known: Any) -> str:
        fit = replace(FIT, **known)
        answer: Any = answered(fits=(fit,), told_id=fit.session_id, riding=known.get("notes"))
        return Told(made_desk(), EVERY, {}, answer, None).facts().replace("\N{NARROW NO-BREAK SPACE}", " ")

    assert facts() == "Session S1, studio quay, fitter F1, riding: not told."
    whole = {"bike_kind": "time_trial", "sit_bone_width_mm": 110.0, "saddle_width_mm": 143.0, "saddle_condition": "worn"}
    assert facts(**whole, notes="road") == (
        "Session S1, studio quay, fitter F1, riding: road, time trial bicycle, sit bones 110.0 mm apart, saddle 143.0 mm wide, "
        "saddle worn."
    )


def test_pages_ask_the_questions_of_a_studio_and_their_views_are_named_as_their_addresses() -> None:
    assert {page.name: page.question for page in PAGES} == {
        "Studio": "How was last month, and what now?",
        "Supports": "What brings a knee nearer to neutral, and for whom?",
        "Next rider": "What tended to follow for feet like these?",
        "Symmetry": "How common is a side difference, and do we resolve it?",
        "Returns": "Do riders come back, and does the fit hold?",
        "Fitters": "Who needs a second pair of eyes?",
        "Riders": "What happened to this rider, and did it hold?",
        "Data": "Can we trust it?",
    }
    # An address says in short what a view is named in full.
    short = {"studios": "Studio beside studio", "said": "What riders said", "all": "All riders", "": "Answer"}
    short |= {"worst-disagreements": "Worst disagreements first", "how-well-foreseen": "How well foreseen so far"}
    for view in (view for page in PAGES for view in page.views):
        assert view.name == short.get(view.path, view.path.replace("-", " ").capitalize())


def test_older_addresses_lead_to_views_that_there_are() -> None:
    for page in PAGES:
        assert set(page.moved.values()) <= {view.path for view in page.views}
        assert all(re.fullmatch(r"#?[a-z-]+", name) for name in page.moved)
