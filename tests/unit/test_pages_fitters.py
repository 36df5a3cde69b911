"""The Fitters page: names for those who may see them, next steps with counts, and the worst fits with their cases."""

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.components.address import Addresses, View, read_view
from dashboard.components.choices import starting_place
from dashboard.components.page import Desk
from dashboard.pages.fitters import ids
from dashboard.pages.fitters.callbacks import PAGE
from dashboard.pages.fitters.named import called, with_names
from dashboard.pages.fitters.worst import FITS_SHOWN, FOUND, _in_short
from dashboard.questions.coaching.agreement_rules import FOOT_RULES, SADDLE
from dashboard.questions.coaching.answers_agreement import AgreementWithExam, LookRow
from dashboard.questions.coaching.answers_fitters import Fitters
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL, Reader, Role
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError
from shared.settings import Settings
from tests.conftest import TODAY
from tests.unit.page_places import words as words_of

NAMES = {"F1": "Alder", "F10": "Birch"}
# Words that set fitters into an order.
RANKS = re.compile(r"\b(?:best|rank|ranks|top|league|first place|last place)\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings(), lambda: TODAY)


def desk_of(asker: Asker, reader: Reader = LOCAL) -> Desk:
    return Desk(AskedBy(asker, lambda: reader), Addresses("/"))


def shown(desk: Desk, place: str, search: str = "") -> Any:
    return PAGE.shows(desk)[place](read_view(search), None)


@pytest.mark.parametrize(
    ("words", "named"),
    [
        ("F1 on comfort gained; F10, F11.", "Alder (F1) on comfort gained; Birch (F10), F11."),
        ("F1's captures scatter more", "Alder (F1)'s captures scatter more"),
        ("xF1 and F1-2 are no fitters", "xF1 and F1-2 are no fitters"),
    ],
)
def test_ids_get_their_names_and_nothing_else_does(words: str, named: str) -> None:
    assert with_names(words, NAMES) == named
    assert with_names(words, {}) == words


def test_a_fitter_without_a_name_is_called_by_id() -> None:
    assert (called("F1", NAMES), called("F3", NAMES)) == ("Alder (F1)", "F3")


@pytest.mark.parametrize("reader", [LOCAL, Reader("o", Role.OWNER), Reader("h", Role.HEAD_FITTER)])
def test_names_are_for_owner_and_head_fitter(asker: Asker, reader: Reader) -> None:
    head = words_of(shown(desk_of(asker, reader), PAGE.head_id))
    assert "Fitter Cedar (F3) on comfort gained (below); Fitter Plover (F7) on" in head
    assert "Too few fits yet: Fitter Willow (F6)." in head
    assert not RANKS.search(head)


def test_a_fitter_sees_no_name_on_any_view(asker: Asker) -> None:
    desk = desk_of(asker, Reader("f", Role.FITTER, "F2"))
    told = " ".join(words_of(show(View(Selection(), {}), None)) for show in PAGE.shows(desk).values())
    assert not re.search(r"Alder|Birch|Cedar|Hazel|Rowan|Willow|Plover", told)


def test_a_desk_without_names_tells_ids(asker: Asker) -> None:
    desk = Desk(AskedBy(asker, lambda: LOCAL), Addresses("/"), with_names=False)
    assert "F3 on comfort gained (below); F7 on" in words_of(shown(desk, PAGE.head_id))


def test_the_next_steps_count_the_fits_and_lead_to_those_of_a_fitter_with_few(asker: Asker) -> None:
    answer = asker.ask("agreement", Selection(studio=("ropewalk",)))
    assert isinstance(answer, AgreementWithExam)
    said = shown(desk_of(asker), ids.NEXT, "?studio=ropewalk")
    links = {" ".join(words_of(link).split()): link.href for link in _links(said) if "worst-disagreements" in link.href}
    assert links == {
        f"{answer.n_to_look_at} fits to look at together, the worst first": "/fitters/worst-disagreements?studio=ropewalk",
        "Fitter Willow (F6), 7 of 10 fits that a figure needs: look at each": (
            "/fitters/worst-disagreements?studio=ropewalk&fitter=F6"
        ),
    }


def _links(part: Any) -> list[Any]:
    """Every component with an address in what is shown."""
    if isinstance(part, list | tuple):
        return [link for one in part for link in _links(one)]
    found = [part] if getattr(part, "href", None) else []
    return found + _links(getattr(part, "children", None) or [])


def test_a_fitter_is_led_to_their_own_fits_alone(asker: Asker) -> None:
    own = asker.ask("agreement", Selection(fitter=("F2",)))
    assert isinstance(own, AgreementWithExam)
    desk = desk_of(asker, Reader("f", Role.FITTER, "F2"))
    told = " ".join(words_of(shown(desk, ids.NEXT)).split())
    assert f"{min(own.n_to_look_at, 100)} fits to look at together" in told
    told = " ".join(words_of(shown(desk, ids.WORST)).split())
    assert f"1 to 10 of {min(own.n_to_look_at, 100)} fits to look at." in told


def test_the_funnel_is_of_the_figure_furthest_from_what_is_expected(asker: Asker) -> None:
    answer = asker.ask("fitters", Selection())
    assert isinstance(answer, Fitters)
    furthest = max(answer.fitters, key=lambda row: abs(row.z or 0))
    assert furthest.outcome == answer.furthest == "comfort_gained"
    assert "Comfort gained: Fitter Cedar and Fitter Plover outside the 95" in words_of(shown(desk_of(asker), ids.FUNNEL))
    assert "Riders who came back: " in words_of(shown(desk_of(asker), ids.FUNNEL, "?outcome=return_rate"))


def test_the_cases_of_a_fitter_with_too_few_fits_are_shown_and_said_to_be_that(asker: Asker) -> None:
    told = " ".join(words_of(shown(desk_of(asker), ids.WORST, "?fitter=F6")).split())
    assert "1 to 6 of 6: 0 to look at, and 6 of fitters with too few fits for a figure." in told
    assert "Fitter Willow (F6) , rider " in told and "(too few fits for a figure)" in told


def test_every_rule_has_words_for_its_flag() -> None:
    assert set(FOUND) >= {rule.name for rule in FOOT_RULES} - {"narrow_by_cleat", "shim_place_told"} | {SADDLE}


def test_flags_are_told_in_short_with_their_feet() -> None:
    def finding(rule: str, side: str | None, weight: str = "flag") -> LookRow:
        return LookRow("S1", date(2026, 1, 2), "F1", side, rule, weight, "")

    case = [
        finding("insole_left_out", "left"),
        finding("insole_follows_arch", "left", "note"),
        finding("insole_left_out", "right"),
        finding("shims_to_need", "right"),
        finding(SADDLE, None),
    ]
    assert _in_short(case) == (
        "No insole under the arch, both feet; more shims than the forefoot needs, right foot; the saddle not looked at first."
    )


def test_a_start_that_is_no_number_is_told() -> None:
    assert (starting_place(None, FITS_SHOWN), starting_place("20", FITS_SHOWN)) == (0, 20)
    with pytest.raises(UsageError, match="start: found 'x', expected a whole number such as 10"):
        starting_place("x", FITS_SHOWN)
