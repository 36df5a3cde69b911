"""A comparison of drawn order: what is asked before it opens, what captures show of each draw, and what may be said of it."""

import hashlib
import sqlite3
from datetime import date
from itertools import count
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import Reader, Role
from dashboard.questions.drawn.answers_drawn import Drawn
from dashboard.questions.drawn.drawn import NONE
from dashboard.questions.drawn.opening import draw_next, open_drawn
from dashboard.questions.selection.selection import Selection
from etl.load import load
from shared.errors import UsageError
from shared.logbook.drawing import MAY_OVERRULE, Drawing, Feet
from shared.logbook.store import Logbook
from shared.settings import Settings
from tests.spec.tables import write_csv

FEET = Feet("medium", "mild_varus", "none", 0, "any")
STEPS = ("insole_low", "shim_more")


@pytest.fixture(autouse=True)
def seeds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every comparison of a test gets a seed that is the same in each run."""
    numbers = count()
    monkeypatch.setattr(
        "shared.logbook.drawing.secrets.token_hex", lambda _: hashlib.sha256(str(next(numbers)).encode()).hexdigest()
    )


def opened(warehouse: Path, steps: tuple[str, str] = STEPS, feet: Feet = FEET, stop_after: int = 12) -> str:
    return open_drawn(
        warehouse, Settings(), steps, feet, "tilt", stop_after=stop_after, stop_on=date(2999, 1, 1), by="head",
        confirmed=MAY_OVERRULE,
    ).comparison_id  # fmt: skip


@pytest.mark.parametrize(
    ("steps", "feet", "words"),
    [
        # A low arch under a high insole is two levels beyond it; a neutral forefoot asks for no shim.
        (("insole_low", "insole_high"), Feet("low", "mild_varus", "none", 0, "any"), "2 levels above it"),
        (STEPS, Feet("medium", "neutral", "none", 0, "any"), "asks for no shim at the start"),
        # Of any arch the high one speaks against a low insole; an inward knee is not set wider.
        (STEPS, Feet("any", "mild_varus", "none", 0, "any"), "2 levels below it"),
        (("insole_low", "stance_wider"), Feet("medium", "mild_varus", "none", 0, "inward"), "an inward knee"),
        (("insole_none", "shim_more"), FEET, "no step from where these feet stand"),
        (("insole_low", "brace"), FEET, "'brace', expected one of insole_none"),
        (("insole_low", "insole_low"), FEET, "Both steps are the same"),
    ],
)
def test_nothing_is_opened_that_the_exam_speaks_against(tmp_path: Path, steps: tuple[str, str], feet: Feet, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        opened(tmp_path / "w.duckdb", steps, feet)
    assert not Logbook(tmp_path / "w.duckdb").file.exists()


def exports(folder: Path, made: dict[str, tuple[str, float]], **more: str) -> Path:
    """Fits S0, S1, … with two captures each: tilt −4 before, and after the step that was made the tilt given."""
    sessions = "\n".join(f"{one} | R{one} | F1 | quay | 2026-03-02 | first" for one in made)
    riders = "\n".join(f"R{one} | 1980" for one in made)
    setups = {"insole_low": "low | 0 | 0", "shim_more": "none | 1 | 0", "": "none | 0 | 0", "other": "low | 1 | 0"}
    captures = "\n".join(f"{one} | 1 | left | -4\n{one} | 2 | left | {tilt}" for one, (_, tilt) in made.items())
    stood = "\n".join(f"{one} | 1 | left | none | 0 | 0\n{one} | 2 | left | {setups[step]}" for one, (step, _) in made.items())
    return write_csv(
        folder,
        riders=f"rider_id | birth_year\n{riders}",
        fitters="fitter_id | fitter_name\nF1 | Fitter Alder",
        fit_sessions=f"session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n{sessions}",
        knee_captures=f"session_id | capture_no | side | knee_tilt_deg\n{captures}",
        foot_setups=f"session_id | capture_no | side | insole_level | shims_added | stance_mm\n{stood}",
        **more,
    )


def asked(warehouse: Path) -> Drawn:
    answer = Asker(warehouse, Settings()).ask("drawn", Selection())
    assert isinstance(answer, Drawn)
    return answer


@pytest.fixture
def warehouse(tmp_path: Path) -> Path:
    """Twelve draws of one fitter; S0 was overruled, S1 had two steps at once; a shim brings one degree more than an insole."""
    path = tmp_path / "w.duckdb"
    comparison = opened(path)
    fits = [f"S{number}" for number in range(12)]
    for fit in fits:
        draw_next(path, comparison, fit, "left", after=1, fitter="F1", by="F1")
    steps = {one.session_id: STEPS[one.drawn == "second"] for one in Drawing(path).draws()}
    made = {fit: (step, -3.0 + (step == "shim_more") + 0.01 * number) for number, (fit, step) in enumerate(steps.items())}
    made["S0"] = ("", made["S0"][1])
    made["S1"] = ("other", made["S1"][1])
    load([exports(tmp_path / "x", made)], path, today=date(2026, 3, 3))
    return path


def test_by_what_was_drawn_whatever_was_made(warehouse: Path) -> None:
    """By hand: the change is 1 + n/100 after an insole and 2 + n/100 after a shim, n the number of the draw from 0; the blocks'
    own means of n are taken out."""
    answer = asked(warehouse)
    (row,) = answer.comparisons
    assert (row.n_drawn, row.n_captured, row.n_waiting, row.n_overruled, row.told_by) == (12, 12, 0, 2, "draw")
    assert (row.first_step, row.second_step) == ("a low insole", "one more varus shim")
    assert row.feet == "medium arch, mild varus forefoot, no insole, no shim, any knee"
    assert row.estimate == pytest.approx(1.0, abs=0.05)
    assert {one.made for one in answer.draws if one.session_id in ("S0", "S1")} == {"nothing", "other"}
    assert [(arm.n_drawn, arm.mean_before) for arm in answer.arms] == [(arm.n_captured, -4.0) for arm in answer.arms]
    assert row.seed == "" and row.is_as_sealed is None
    assert row.direction == 1
    assert (
        row.words.startswith("By the draw, tilt rose by ")
        and "more after one more varus shim than after a low insole" in row.words
    )
    assert row.words.endswith("12 of 12 drawn, 2 overruled.")


def test_before_the_stop_rule_only_the_interval_that_holds_at_every_look_may_claim(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    comparison = opened(path, stop_after=60)
    for number in range(14):
        draw_next(path, comparison, f"S{number}", "left", after=1, fitter="F1", by="F1")
    steps = {one.session_id: STEPS[one.drawn == "second"] for one in Drawing(path).draws()}
    made = {fit: (step, -3.0 + (step == "shim_more")) for fit, step in steps.items() if fit != "S13"}
    load([exports(tmp_path / "x", made)], path, today=date(2026, 3, 3))
    (row,) = asked(path).comparisons
    assert (row.told_by, row.told_low, row.n_waiting) == ("always", None, 1)
    # The interval of the draw is there, and says more than may be said at a look of one's own choosing.
    assert row.low is not None and row.low > 0 and row.direction == 0
    assert row.words.startswith("Not enough yet to compare one more varus shim and a low insole by the draw: ")
    assert "14 of 60 drawn, 1 not loaded yet." in row.words


def test_closed_it_tells_its_seed_and_whether_the_draws_are_what_it_gives(warehouse: Path) -> None:
    (name,) = [one.comparison_id for one in asked(warehouse).comparisons]
    closed = Drawing(warehouse).close(name, why="rule", by="head")
    (row,) = asked(warehouse).comparisons
    assert (row.seed, row.is_as_sealed, row.closed_on) == (closed.seed, True, date.fromisoformat(closed.closed_at[:10]))
    book = sqlite3.connect(Logbook(warehouse).file)
    book.execute("UPDATE draws SET drawn = CASE drawn WHEN 'first' THEN 'second' ELSE 'first' END WHERE draw_no = 3")
    book.commit()
    book.close()
    (row,) = asked(warehouse).comparisons
    assert row.is_as_sealed is False


def test_a_draw_comes_before_its_capture(warehouse: Path, tmp_path: Path) -> None:
    comparison = opened(warehouse)
    with pytest.raises(UsageError, match="S3: a capture after number 1 is loaded already"):
        draw_next(warehouse, comparison, "S3", "left", after=1, fitter="F1", by="F1")
    assert "draw 1 of 12" in draw_next(warehouse, comparison, "S3", "left", after=2, fitter="F1", by="F1").words


def test_what_exports_bring_is_told_the_same_and_the_logbook_goes_first(warehouse: Path, tmp_path: Path) -> None:
    here = asked(warehouse)
    (row,) = here.comparisons
    heads = (
        "draw_id | comparison_id | session_id | side | capture_before | drawn | first_step | second_step | outcome | stratum | "
        "block | block_size | place | drawn_at | opened_on | stop_after | commitment"
    )
    lines = "\n".join(
        f"{one.comparison_id}-{one.draw_no:04d} | {one.comparison_id} | {one.session_id} | left | 1 | {one.drawn} | "
        f"insole_low | shim_more | tilt | F1 | {one.block} | {one.block_size} | {one.place} | {one.drawn_at} | "
        f"{row.opened_on} | 12 | {row.commitment}"
        for one in Drawing(warehouse).draws()
    )
    load([write_csv(tmp_path / "y", drawn_orders=f"{heads}\n{lines}")], warehouse)
    assert asked(warehouse).comparisons == here.comparisons
    Logbook(warehouse).file.unlink()
    (alone,) = asked(warehouse).comparisons
    assert (alone.estimate, alone.low, alone.n_overruled, alone.feet) == (
        row.estimate, row.low, 2, "any arch, any forefoot, any insole, any shims, any knee",
    )  # fmt: skip


def test_who_draws_is_not_told_what_it_says(demo_warehouse: Path) -> None:
    answer = AskedBy(Asker(demo_warehouse, Settings()), lambda: Reader("ada", Role.FITTER, "F1")).ask("drawn", Selection())
    assert isinstance(answer, Drawn)
    assert (answer.comparisons, answer.arms, answer.draws) == ((), (), ())
    assert answer.headline == "What drawn orders say is for the head fitter and the owner: who draws had better not know it."


def test_without_a_comparison_it_says_how_one_comes(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", {"S0": ("", -4.0)})], path, today=date(2026, 3, 3))
    assert asked(path).headline == NONE


def test_the_command_from_opening_to_the_seed(tmp_path: Path) -> None:
    path = str(tmp_path / "w.duckdb")

    def run(*words: str) -> tuple[int, str]:
        done = CliRunner().invoke(app, ["draw", *words, "--warehouse", path])
        return done.exit_code, str(done.exception) if isinstance(done.exception, UsageError) else done.output

    about = ["--first", "insole_low", "--second", "shim_more", "--stop-after", "20", "--stop-on", "2999-01-01"]
    feet = ["--arch", "medium", "--forefoot", "mild_varus"]
    assert "Confirm the sentence as it stands" in run("open", *about, *feet)[1]
    code, told = run("open", *about, *feet, "--confirm", MAY_OVERRULE)
    name = told.split()[0]
    assert code == 0 and "Seal of its seed (SHA-256)" in told
    drawn = run("next", name, "--fit", "S1", "--side", "left", "--after", "1", "--fitter", "F1")[1]
    assert drawn.startswith("S1, left knee, draw 1 of 20: ") and drawn.endswith(f"comes first. {MAY_OVERRULE}\n")
    assert f"{name}: a low insole or one more varus shim first" in run("list")[1]
    assert "its seed is told when it is closed" in run("check", name)[1]
    assert run("close", name, "--why", "rule")[0] == 0
    assert run("check", name)[1].endswith("1 draw: all as the seed gives them.\n")
    assert "'C-none'" not in run("check", "C-none")[1] and "no such comparison" in run("check", "C-none")[1]
    log = CliRunner().invoke(app, ["access", "--warehouse", path]).output
    assert [line.split("  ")[3] for line in log.splitlines()[:-1]] == ["opened a comparison", "drew", "closed a comparison"]
