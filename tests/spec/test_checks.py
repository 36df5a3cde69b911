"""The checks from files to sentences: a simulated studio is written as exports, loaded and asked."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dashboard.questions.door.asking import Asker
from dashboard.questions.effects.answers_checks import CheckRow, Checks
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.effects.check_models import late_of
from dashboard.questions.effects.checks_words import carried_words, headline_of, words_of
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.captures import captures_of_rows
from dashboard.questions.models.forms import PLAIN, Form, expected_change, follows
from dashboard.questions.selection.selection import Selection
from etl.load import load
from shared.settings import Settings
from tests.recovery.scenarios import Scenario, simulated
from tests.spec.tables import write_csv

BLEND = Scenario("blend", by_exam=0.4, by_measured=0.3, by_true=0.3, riders=200)


def loaded(scenario: Scenario, folder: Path) -> Asker:
    """The studio of a scenario as exports, loaded."""
    rows = simulated(scenario, np.random.default_rng(3))
    visit = [f"S{number:04d}" for number in rows["visit"]]
    first = np.unique(rows["visit"], return_index=True)[1]
    foot = np.unique(rows["session_knee"], return_index=True)[1]

    def table(header: str, columns: tuple[str, ...], places: np.ndarray) -> str:
        lines = [" | ".join([visit[at], *(str(rows[name][at]) for name in columns)]) for at in places.tolist()]
        return "\n".join((f"session_id | {header}", *lines))

    every = np.arange(len(visit))
    exports = write_csv(
        folder / "exports",
        riders="rider_id | riding\n" + "\n".join(f"R{number:04d} | road" for number in np.unique(rows["rider"])),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
        + "\n".join(f"{visit[at]} | R{rows['rider'][at]:04d} | F1 | q | 2026-01-05 | {rows['visit_kind'][at]}" for at in first),
        foot_exams=table(
            "side | arch_height | arch_collapse | forefoot_angle_deg",
            ("side", "arch_height", "arch_collapse", "forefoot_angle_deg"),
            foot,
        ),
        knee_captures=table("capture_no | side | knee_tilt_deg", ("capture_no", "side", "tilt"), every),
        foot_setups=table(
            "capture_no | side | insole_level | shims_added | stance_mm",
            ("capture_no", "side", "insole_level", "total_shims", "stance_mm"),
            every,
        ),
    )
    report = load([exports], folder / "studio.duckdb")
    assert report.exit_code == 0, report.to_json()
    return Asker(folder / "studio.duckdb", Settings())


def checks(asker: Asker, selection: Selection = Selection()) -> dict[str, CheckRow]:  # noqa: B008 (frozen)
    answer = asker.ask("checks", selection, outcomes=("tilt",))
    assert isinstance(answer, Checks)
    assert answer.headline == headline_of(list(answer.checks))
    return {row.check: row for row in answer.checks}


def told(asker: Asker, selection: Selection = Selection()) -> Effects:  # noqa: B008 (frozen)
    answer = asker.ask("effects", selection, parts=("overall",), outcomes=("tilt",))
    assert isinstance(answer, Effects)
    return answer


def test_nothing_is_found_where_nothing_is_there(tmp_path: Path) -> None:
    asker = loaded(BLEND, tmp_path)
    assert not any(row.is_found or row.is_allowed_for for row in checks(asker).values())
    answer = told(asker)
    assert "everywhere" not in answer.headline and "late" not in answer.headline


def test_a_late_effect_is_told_allowed_for_and_carried_by_every_claim(tmp_path: Path) -> None:
    asker = loaded(replace(BLEND, late=0.6), tmp_path)
    late, answer = checks(asker)["late"], told(asker)
    assert late.is_found and late.is_allowed_for
    assert late.difference_low is not None and late.difference_high is not None
    assert late.difference_low < 0.6 < late.difference_high
    assert late.words.startswith("About ") and "comes one capture late" in late.words
    shim = next(row for row in answer.effects if row.support == "shim")
    assert (shim.told_low or 0) < 0.5 < (shim.told_high or 0)
    assert shim.words.endswith("of it comes one capture late, which the figures allow for.")
    assert answer.headline.endswith("of it comes one capture late, which the figures allow for.")
    # In a selection the models allow for it as well, and its own share is told.
    left = Selection(side=("left",))
    own = checks(asker, left)["late"]
    assert own.is_allowed_for and own.n_changes < late.n_changes and own.q_value is None
    assert "comes one capture late" in told(asker, left).headline


def test_a_shim_that_does_more_on_an_insole_qualifies_its_verdict_and_no_other(tmp_path: Path) -> None:
    asker = loaded(replace(BLEND, with_insole_deg=0.3), tmp_path)
    found = checks(asker)["insole_shim"]
    assert found.is_found and not found.is_allowed_for
    assert (found.first_high or 0) < (found.other_low or 0)
    words = {row.support: row.words for row in told(asker).effects}
    assert "It is not the same everywhere: 0." in words["shim"] and words["shim"].endswith("° on one.")
    assert not any("everywhere" in words[support] for support in words if support != "shim")
    assert "On the tilt, it is not the same everywhere: 0." in told(asker).headline


def test_a_drift_by_arch_is_allowed_for(tmp_path: Path) -> None:
    asker = loaded(replace(BLEND, arch_drift_deg=0.3), tmp_path)
    found = checks(asker)["order_arch"]
    assert found.is_found and found.is_allowed_for
    # Twice the step from one arch to the next.
    assert (found.difference_low or 0) < 0.6 < (found.difference_high or 0)
    assert found.words.endswith("on a high one than on a low one. The figures allow for it.")


# By hand: one knee of each of two riders, captured with 0, 1, 1 and 2 shims; the second rider's third capture is missing.
FEW = {
    "rider": np.repeat([0, 1], [4, 3]),
    "session_knee": np.repeat([0, 1], [4, 3]),
    "capture_order": np.array([0, 1, 2, 3, 0, 1, 3]),
    "total_shims": np.array([0, 1, 1, 2, 0, 1, 2]),
    "stance_mm": np.zeros(7),
    "insole_level": np.array(["none"] * 7, dtype=object),
    "tilt": np.array([0.0, 0.3, 0.5, 0.8, 0.0, 0.3, 0.8]),
}


def test_a_change_is_known_where_the_capture_before_is_there() -> None:
    captures = captures_of_rows(FEW)
    assert follows(captures, 1).tolist() == [False, True, True, True, False, True, False]
    assert follows(captures, 2).tolist() == [False, False, True, True, False, False, False]
    assert expected_change(captures, {"shim": 0.5}).tolist() == [0.0, 0.5, 0.0, 0.5, 0.0, 0.5, 0.0]
    assert expected_change(captures, {}).tolist() == [0.0] * 7


def test_repeats_after_a_change_tell_how_much_of_it_was_late() -> None:
    # Twelve riders with one more shim at the second capture; the third, a repeat, shows the 0.2 degrees that were late. Twelve
    # others change nothing.
    one = {"capture_order": [0, 1, 2], "tilt": [0.0, 0.3, 0.5], "total_shims": [0, 1, 1]}
    other = {"capture_order": [0, 1, 2], "tilt": [0.0, 0.0, 0.0], "total_shims": [0, 0, 0]}
    jitter = np.resize([0.01, -0.01], 24)
    rows = {name: np.concatenate([np.tile(one[name], 12), np.tile(other[name], 12)]) for name in one}
    rows["tilt"] = rows["tilt"] + np.repeat(jitter, 3) * np.tile([0, 0, 1], 24)
    rider = np.repeat(np.arange(24), 3)
    rows |= {"rider": rider, "session_knee": rider, "stance_mm": np.zeros(72)}
    rows["insole_level"] = np.array(["none"] * 72, dtype=object)
    found = late_of(captures_of_rows(rows), "tilt", {"shim": 0.5}, Settings())
    assert (found.n_pairs, found.n_riders) == (12, 12)
    assert found.share == pytest.approx(0.4)


def test_models_of_a_form_hold_the_supports_for_what_it_names() -> None:
    plain, late, by_arch = (
        [column.term for column in form.columns()] for form in (PLAIN, Form(is_late=True), Form(by_arch=True))
    )
    assert [term for term in late if term not in plain] == [f"late {support}" for support in plain[:6]]
    assert [term for term in by_arch if term not in plain] == ["capture by medium arch", "capture by high arch"]


ROW = CheckRow(
    "tilt", "insole_shim", "deg", 120, 400, 0.41, 0.58, 0.7, 0.89, 0.3, 0.21, 0.39, 0.0002, 0.001, True, False, ""
)  # fmt: skip
SHIM = EffectRow(
    "tilt", "shim", "deg", None, None, 100, 300, 0.6, 0.5, 0.7, 0.6, 0.5, 0.7, 0.5, 0.7, 0.001, "", told_low=0.5, told_high=0.7
)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (
            ROW,
            "One more varus shim moves the tilt by 0.41 to 0.58° without an insole and by 0.70 to 0.89° on one, a difference "
            "of 0.21 to 0.39°.",
        ),
        (
            replace(ROW, check="shim_bend", other_low=0.1, other_high=0.3, difference_low=-0.4, difference_high=-0.2),
            "The first varus shim moves the tilt by 0.41 to 0.58°, each further one by 0.10 to 0.30°, a difference of −0.40 to "
            "−0.20°.",
        ),
        (
            replace(ROW, check="stance_bend", outcome="sway", unit="mm"),
            "One mm of outward stance moves the sway by 0.41 to 0.58\N{NO-BREAK SPACE}mm up to 4 mm and by 0.70 to "
            "0.89\N{NO-BREAK SPACE}mm beyond, a difference of 0.21 to 0.39\N{NO-BREAK SPACE}mm.",
        ),
        (
            replace(ROW, check="order_arch"),
            "From capture to capture the tilt drifts otherwise by arch: 0.21 to 0.39° a capture more on a high one than on a "
            "low one. The figures allow for it.",
        ),
        (
            replace(ROW, check="late", unit="share", difference=0.33, difference_low=0.2, difference_high=0.46, n_changes=1646),
            "About 33\N{NO-BREAK SPACE}% of what a support does to the tilt comes one capture late (20 to 46\N{NO-BREAK SPACE}%"
            "; 1,646 repeats after a change). The figures are those at the later capture.",
        ),
        (
            replace(ROW, is_found=False, difference_low=-0.05),
            "A varus shim was not found to do otherwise to the tilt on an insole: anything from −0.05 to 0.39°.",
        ),
        (
            replace(ROW, is_found=False),
            "A varus shim was not found to do otherwise to the tilt on an insole: anything from 0.21 to 0.39°, which among so "
            "many figures may be chance.",
        ),
        (
            replace(ROW, difference=None, is_found=False, n_changes=4, n_riders=2),
            "Whether a varus shim does the same to the tilt on an insole: not enough yet, 4 changes in 2 riders.",
        ),
        (
            replace(ROW, check="late", difference=None, is_found=False, n_changes=4, n_riders=1),
            "Whether what a support does to the tilt comes late: not enough yet, 4 repeats in 1 rider after a change.",
        ),
    ],
)
def test_each_check_has_its_sentence(row: CheckRow, words: str) -> None:
    assert words_of(row, Settings()) == words


def test_a_verdict_carries_what_is_of_its_support() -> None:
    assert carried_words(ROW, SHIM, Settings()) == [
        "It is not the same everywhere: 0.41 to 0.58° without an insole, 0.70 to 0.89° on one."
    ]
    assert carried_words(ROW, replace(SHIM, support="stance"), Settings()) == []
    assert carried_words(replace(ROW, check="order_arch"), SHIM, Settings()) == []
    late = replace(ROW, check="late", unit="share", difference=0.33)
    assert carried_words(late, SHIM, Settings()) == [
        "About 33\N{NO-BREAK SPACE}% of it comes one capture late, which the figures allow for."
    ]
    # Of what is not claimed nothing can come late.
    assert carried_words(late, replace(SHIM, q_value=0.5), Settings()) == []


def test_the_headline_says_what_was_found_or_that_nothing_was() -> None:
    row = replace(ROW, words="Found.")
    assert headline_of([row, replace(row, is_found=False, words="Not found.")]) == "Found."
    assert headline_of([replace(row, is_found=False)]) == "Nothing was found that speaks against the effects as they are told."
    assert headline_of([replace(row, is_found=False, p_value=None)]).startswith("Too little was changed")
    few = replace(row, is_found=False, p_value=None, words="Whether it bends: not enough yet, 2 changes in 2 riders.")
    assert headline_of([replace(row, is_found=False), few, few]) == (
        "Nothing was found that speaks against the effects as they are told; too little was changed for 2 of 3 checks."
    )
