"""From exports to sentences: a rig whose zero moves, and one that exchanges left and right, wherever they are told."""

from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import typer

from dashboard.components.address import Addresses
from dashboard.pages.data.upload import loaded
from dashboard.printing import print_answer, print_report
from dashboard.questions.data.answers_rig import Rig
from dashboard.questions.door.asking import Asker
from dashboard.questions.effects import effects
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.effects.effect_parts import EffectParts
from dashboard.questions.selection.selection import Selection, parse_selection
from etl.report import LoadReport
from shared.rig.care import care, neutral_moved, of_sides, unclaimed
from shared.rig.findings import RigFinding, spoken
from shared.settings import Rig as RigSettings
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.faulty_rig import load_faulty, sides_exchanged, zero_moves

Faulty = tuple[Asker, LoadReport]


@pytest.fixture(scope="module")
def moved(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Faulty:
    path, report = load_faulty(demo_warehouse, tmp_path_factory.mktemp("moved"), zero_moves)
    return Asker(path, Settings()), report


@pytest.fixture(scope="module")
def exchanged(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Faulty:
    path, report = load_faulty(demo_warehouse, tmp_path_factory.mktemp("exchanged"), sides_exchanged)
    return Asker(path, Settings()), report


@pytest.fixture(scope="module")
def sound(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


def asked(asker: Asker, selection: Selection = Selection()) -> Rig:  # noqa: B008 (frozen)
    answer = asker.ask("rig", selection)
    assert isinstance(answer, Rig)
    return answer


def test_a_load_tells_what_the_question_tells(moved: Faulty) -> None:
    asker, report = moved
    assert report.rig == asked(asker).findings
    (finding,) = report.rig
    assert (finding.studio, finding.kind, finding.quantity, finding.until) == ("quayside", "step", "tilt", None)
    assert finding.since_low is not None and finding.since_high is not None
    assert finding.since_low <= date(2025, 12, 1) <= finding.since_high
    assert finding.low <= 1.5 <= finding.high
    assert finding.words.startswith("Arrivals at quayside stand 1.")
    assert b'"rig": [' in report.to_json()


def test_a_sound_studio_s_load_tells_nothing(sound: Asker) -> None:
    answer = asked(sound)
    assert answer.findings == ()
    assert answer.headline.startswith("No rig is seen to have moved")


def test_the_selection_chooses_studios_and_dates(moved: Faulty) -> None:
    asker, _ = moved
    assert len(asked(asker, Selection(studio=("quayside",))).findings) == 1
    assert asked(asker, Selection(studio=("ropewalk",))).findings == ()
    assert asked(asker, Selection(date_to=date(2025, 6, 30))).findings == ()
    assert len(asked(asker, Selection(date_from=date(2026, 6, 1))).findings) == 1


def test_months_are_the_means_of_the_arrivals(sound: Asker) -> None:
    warehouse = open_reading(sound.path)
    values = warehouse.arrays(
        "SELECT l.tilt_arrival_deg AS tilt_left, r.tilt_arrival_deg AS tilt_right FROM mart.fits AS f "
        "JOIN mart.feet AS l ON l.fit_no = f.fit_no AND l.side = 'left' "
        "JOIN mart.feet AS r ON r.fit_no = f.fit_no AND r.side = 'right' "
        "WHERE f.studio_id = 'quayside' AND f.session_date BETWEEN DATE '2025-04-01' AND DATE '2025-04-30' "
        "AND l.tilt_arrival_deg IS NOT NULL AND r.tilt_arrival_deg IS NOT NULL"
    )
    warehouse.close()
    rows = {row.knees: row for row in asked(sound).months if (row.studio, row.month) == ("quayside", date(2025, 4, 1))}
    left, right = values["tilt_left"], values["tilt_right"]
    assert rows["both"].n_fits == len(left)
    assert rows["both"].estimate == pytest.approx(np.mean((left + right) / 2))
    assert rows["right_less_left"].estimate == pytest.approx(np.mean(right - left))
    few = [row for row in asked(sound).months if row.n_riders < Settings().minimum.riders_shown]
    assert few and all(row.estimate is None for row in few)


def test_periods_and_trends_tell_the_day(moved: Faulty) -> None:
    asker, _ = moved
    since = asked(asker).findings[0].since
    trends: Any = asker.ask("trends", Selection())
    assert [(note.on, note.words) for note in trends.notes] == [
        (since, "The rig at quayside measures tilt otherwise, as Data tells.")
    ]
    weeks: Any = asker.ask("trends", Selection(), every=("week",))
    assert [note.on for note in weeks.notes] == [since]
    assert asker.ask("trends", Selection(studio=("ropewalk",))).notes == ()  # type: ignore[attr-defined]
    spring: Any = asker.ask("periods", Selection(date_from=date(2026, 1, 1), date_to=date(2026, 6, 30)))
    assert "compare fits before and after that day with care" in spring.headline
    early: Any = asker.ask("periods", Selection(date_from=date(2025, 1, 1), date_to=date(2025, 6, 30)))
    assert "with care" not in early.headline


def test_effects_stand_where_the_zero_moves(moved: Faulty, sound: Asker) -> None:
    """The pooled model takes a zero that moves for the visits' own: what is told stays within a tenth of its width."""
    told: list[Effects] = []
    for asker in (moved[0], sound):
        answer = asker.ask("effects", Selection(), parts=("overall",), outcomes=("tilt",))
        assert isinstance(answer, Effects)
        told.append(answer)
    for after, before in zip(told[0].effects, told[1].effects, strict=True):
        assert after.direction == before.direction
        assert before.told_low is not None and before.told_high is not None and after.told_low is not None
        assert abs(after.told_low - before.told_low) < 0.1 * (before.told_high - before.told_low)


def test_no_effect_on_the_distance_from_neutral_is_claimed_across_a_moved_zero(moved: Faulty) -> None:
    """Effects by arrival direction moved by up to four standard errors here: neutral is another one before and after."""
    asker, _ = moved
    why = "No effect on the distance from neutral is claimed: the rig at quayside measures tilt otherwise since 1 Dec 2025"

    def asked_of(**dates: Any) -> tuple[list[Any], list[Any]]:
        answer: Any = asker.ask("effects", Selection(**dates), parts=("overall", "directions"))
        rows = [*answer.off_neutral, *(row for row in answer.effects if row.outcome == "off_neutral")]
        return rows, [row for row in answer.effects if row.outcome != "off_neutral"]

    across, others = asked_of()
    assert across and all(row.direction == 0 and row.words.startswith(why) for row in across)
    assert any(row.direction for row in others)
    for one_side in (
        asked_of(date_to=date(2025, 11, 15)),
        asked_of(date_from=date(2026, 1, 1)),
        asked_of(studio=("ropewalk",)),
    ):
        assert not any(row.words.startswith(why) for row in one_side[0])


def test_nothing_is_claimed_where_sides_are_exchanged(exchanged: Faulty) -> None:
    asker, report = exchanged
    assert [(finding.kind, finding.share_is_all, finding.since) for finding in report.rig] == [("exchange", True, None)]
    effects: Any = asker.ask("effects", Selection(), parts=("overall", "directions", "dose"))
    why = "No effect of a support is claimed: left and right are exchanged at quayside in all fits, as Data tells."
    assert effects.headline.startswith(why)
    rows = (*effects.effects, *effects.dose, *effects.off_neutral)
    assert rows and all(row.direction == 0 and row.words.startswith(why) for row in rows)
    assert any(row.pooled is not None for row in effects.effects)
    agreement: Any = asker.ask("agreement", Selection())
    assert agreement.headline.startswith("No agreement with the exam is claimed: left and right are exchanged at quayside")
    elsewhere: Any = asker.ask("effects", Selection(studio=("ropewalk",)), parts=("overall",))
    assert "No effect" not in elsewhere.headline
    assert any(row.direction for row in elsewhere.effects)


def test_what_is_smaller_than_worth_telling_is_not_told(moved: Faulty) -> None:
    asker, _ = moved
    blunt = Settings(rig=RigSettings(smallest_tilt_deg=2.5))
    assert asked(Asker(asker.path, blunt)).findings == ()


def finding(kind: str, **changed: Any) -> RigFinding:
    row: dict[str, Any] = {
        "studio": "quayside",
        "kind": kind,
        "quantity": "tilt",
        "since": date(2026, 5, 3),
        "since_low": date(2026, 4, 20),
        "since_high": date(2026, 5, 14),
        "until": None,
        "estimate": 0.8,
        "low": 0.5,
        "high": 1.1,
        "unit": "deg",
        "q_value": 0.001,
        "n_fits": 40,
        "n_riders": 38,
    }
    return RigFinding(**{**row, **changed})


DAY = date(2026, 5, 3)
ON_A_DAY = {"since_low": DAY, "since_high": DAY}
ALWAYS = {"since": None, "since_low": None, "since_high": None}
BEGAN = "it began between 20 Apr and 14 May 2026"
MM, PERCENT = "\N{NO-BREAK SPACE}mm", "\N{NO-BREAK SPACE}%"


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (
            finding("step"),
            f"Arrivals at quayside stand 0.8° (0.5 to 1.1°) further out since 3 May 2026 ({BEGAN}). Check the rig's zero.",
        ),
        (
            finding("step", quantity="sway", unit="mm", estimate=-2.0, low=-2.6, high=-1.4, **ON_A_DAY),
            f"Arrivals at quayside sway 2.0{MM} (1.4 to 2.6{MM}) less since 3 May 2026. Check the rig's zero.",
        ),
        (
            finding("slope", unit="deg/month", estimate=-0.08, low=-0.1, high=-0.06),
            "Arrivals at quayside stand 0.08° a month (0.06 to 0.10°) further in, month by month. Set the rig's zero anew, and "
            "more often.",
        ),
        (
            finding("side", **ALWAYS),
            "Right knees at quayside stand 0.8° (0.5 to 1.1°) further out against left ones in all fits, more than the feet "
            "explain. Check that the rig stands level and straight.",
        ),
        (
            finding("exchange", unit="share", estimate=1.0, low=0.9, high=1.0),
            "Left and right are exchanged at quayside since 3 May 2026: supports under one foot move the other knee. Check "
            "which marker is which, and how the export is mapped.",
        ),
        (
            finding("exchange", unit="share", estimate=0.15, low=0.13, high=0.17, until=date(2026, 6, 1)),
            f"Left and right change places at quayside in about 15{PERCENT} of captures (13 to 17{PERCENT}) from 3 May 2026 to "
            "1 Jun 2026. Check which marker is which before recording.",
        ),
        (
            finding("noise", unit="ratio", estimate=0.5, low=0.4, high=0.625),
            "Captures with nothing changed lie 2.0 times nearer together in tilt at quayside since 3 May 2026 (1.6 to 2.5 "
            f"times; {BEGAN}). Check markers, light and calibration.",
        ),
    ],
)
def test_sentences(row: RigFinding, words: str) -> None:
    assert spoken(row) == words


def test_what_follows() -> None:
    exchange = finding("exchange", unit="share", estimate=1.0)
    assert unclaimed([finding("step")], "effect of a support") == ""
    assert unclaimed([finding("exchange", unit="share", estimate=0.03)], "effect of a support") == ""
    assert "exchanged at quayside since 3 May 2026" in unclaimed([finding("step"), exchange], "effect of a support")
    assert "in some captures" in unclaimed([finding("exchange", unit="share", estimate=0.15)], "effect of a support")
    assert of_sides([finding("step")]) == ""
    assert of_sides([finding("side")]).startswith("The rig at quayside measures tilt otherwise right than left")
    assert neutral_moved([finding("step", quantity="offset", unit="mm"), finding("noise", unit="ratio")]) == ""
    assert neutral_moved([finding("step")], date(2026, 5, 3)) == ""
    assert neutral_moved([finding("slope", unit="deg/month")], date(2026, 5, 3)).endswith("Choose another studio.")
    assert care([finding("slope", unit="deg/month")]) == ""
    assert care([finding("step")], date(2026, 5, 3)) == ""
    assert care([finding("step")], None, date(2026, 5, 2)) == ""
    assert "3 May 2026" in care([finding("step")], date(2026, 1, 1), date(2026, 6, 30))


def test_of_effects_that_claim_nothing_no_check_is_made(exchanged: Faulty, monkeypatch: pytest.MonkeyPatch) -> None:
    """The figures are those that claiming rows have; what only a claim would carry is not asked for."""
    chosen = parse_selection({"from": "2026-01-01", "studio": "quayside", "split": "arch_height"})
    parts, warehouse = ("overall", "directions", "split", "dose"), open_reading(exchanged[0].path)
    claiming = effects.ask(warehouse, chosen, Settings(), parts=parts, outcomes=("tilt",))
    assert any(row.direction for row in claiming.effects)

    def never(*_: object) -> None:
        raise AssertionError

    for name in ("checks", "_q_values", "_claims"):
        monkeypatch.setattr(EffectParts, name, never)
    silent = effects.ask(warehouse, chosen, Settings(), parts=parts, outcomes=("tilt",), rig=asked(exchanged[0]))
    warehouse.close()
    assert silent.headline.startswith("No effect of a support is claimed: left and right are exchanged at quayside")
    for lines in ("effects", "families", "dose", "off_neutral"):
        told = [asdict(row) for row in getattr(claiming, lines)]
        without = ("told_low", "told_high", "told_by", "q_value", "line_q_value")
        expected = [{**row, **{name: None for name in without if name in row}, "words": silent.headline} for row in told]
        assert told and [asdict(row) for row in getattr(silent, lines)] == expected


def test_the_command_prints_it(moved: Faulty, capsys: pytest.CaptureFixture[str]) -> None:
    asker, report = moved
    with pytest.raises(typer.Exit):
        print_report(report, as_json=False)
    words = report.rig[0].words
    assert f"\nThe rig, over all fits:\n  {words}\n" in capsys.readouterr().out
    print_answer(asked(asker))
    told = capsys.readouterr().out
    assert told.startswith(f"{words}\n")
    assert told.rstrip().endswith(words)


def test_the_place_of_uploads_tells_it(moved: Faulty, sound: Asker) -> None:
    desk: Any = SimpleNamespace(addresses=Addresses("/"))
    assert moved[1].rig[0].words in str(loaded(desk, moved[1], "token"))
    assert "The rig" not in str(loaded(desk, replace(moved[1], rig=()), "token"))
