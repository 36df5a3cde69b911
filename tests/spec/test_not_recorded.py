"""Not recorded is not zero: every question, page, command and the report over studios that leave something out.

What each studio does not record is told as such. Nowhere stands a share of nothing, a sentence that follows from nothing, or a
fault.
"""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.recorded import FIGURES, SPLIT_BY
from dashboard.questions.selection.selection import SPLITS, Selection
from shared.catalogue import catalogue
from shared.errors import NotRecordedError
from shared.recorded import COSTS
from shared.settings import Settings
from tests.conftest import TODAY
from tests.nothing.collecting import collected
from tests.sparse_studios import loaded, sparse, whole

STUDIOS: Final = ("no_follow_ups", "no_setups", "no_exams", "two_captures", "tilt_only")
# Which questions are not recorded at all in each studio.
REFUSED: Final = {
    "no_follow_ups": {"returns", "calls", "important_change"},
    "no_setups": {"effects", "checks", "power", "foresight", "next", "agreement"},
    "no_exams": {"types", "agreement"},
    "two_captures": {
        "effects", "checks", "power", "foresight", "next", "agreement", "returns", "calls", "types", "ratings",
        "important_change",
    },
}  # fmt: skip
REFUSED["tilt_only"] = REFUSED["two_captures"]
# What would be false where a table is absent: figures of nothing, and sentences that follow from nothing.
FALSE: Final = {
    "follow_ups": (
        r"\b0 % of fits were seen again",
        r"\bseen again within",
        r"not seen again(?!:)(?! and)(?!; its)",
        r"no follow-up (was|is) booked",
        r"No calls today",
        r"0 % of fits (held|had)",
        r"follow-up booked in time: (0 %|not enough)",
        r"\b0 points \(0 to 0",
        r"Last fit did not hold",
        r"0 pairs of 0 riders",
    ),
    "foot_setups": (
        r"changed often enough",
        r"Too little was changed",
        r"repeat pairs?\b.*Record a knee twice",
        r"hold a repeat capture",
        r"repeat capture taken: (0 %|not enough)",
        r"\b0 % of fits held",
        r"0 repeats of",
        r"could be foreseen",
    ),
    "foot_exams": (
        r"0 % of fits have arch",
        r"100 % of fits have no exam",
        r"no row in foot_exams",
        r"0 feet",
        r"exam complete on both feet: (0 %|not enough)",
        r"fits that can be judged",
        r"Fits? to look at together \(0\)|fit to look at together \(0\)",
    ),
    "rider_ratings": (r"Comfort gained: not enough", r"comfort .*: not enough yet"),
    "bike_measures": (r"0 % of fits have the bicycle", r"no departure row in bike_measures"),
    "knee_captures.knee_sway_mm": (r'"looping" was', r"(?<!\d)0 riders"),
}
ABSENT: Final = {
    "no_follow_ups": ("follow_ups",),
    "no_setups": ("foot_setups",),
    "no_exams": ("foot_exams",),
    "two_captures": ("follow_ups", "foot_setups", "foot_exams", "rider_ratings", "bike_measures"),
    "tilt_only": (
        "follow_ups", "foot_setups", "foot_exams", "rider_ratings", "bike_measures", "knee_captures.knee_sway_mm",
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def studios(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return {name: loaded(tables, tmp_path_factory.mktemp(name)) for name, tables in sparse().items()}


@pytest.fixture(scope="module")
def complete(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return loaded(whole(), tmp_path_factory.mktemp("whole"))


def refusals(path: Path, settings: Settings | None = None) -> Iterator[tuple[str, NotRecordedError]]:
    asker = Asker(path, settings or Settings(), lambda: TODAY)
    for question in QUESTIONS:
        try:
            asker.ask(question, Selection(rider=("R0001",)) if question == "next" else Selection())
        except NotRecordedError as refusal:
            yield question, refusal


def words_of(path: Path, question: str, settings: Settings | None = None) -> str:
    return "\n".join(str(refusal) for name, refusal in refusals(path, settings) if name == question)


@pytest.mark.parametrize("name", STUDIOS)
def test_every_place_tells_what_is_not_recorded_and_nothing_that_follows_from_nothing(
    studios: dict[str, Path], name: str
) -> None:
    said = [one for one in collected(studios[name], splits=()) if one.kind == "text"]
    for stand in ABSENT[name]:
        wrong = {(one.place, one.text) for one in said for pattern in FALSE[stand] if re.search(pattern, one.text)}
        assert not wrong, (stand, sorted(wrong)[:5])
        assert any(stand in one.text and "ot recorded" in one.text for one in said), stand
    # Page, command and report alike.
    for stand in ABSENT[name][:3]:
        places = {one.place.partition(" ")[0] for one in said if stand in one.text and "ot recorded" in one.text}
        assert places == {"show", "page", "report"}, (stand, places)


@pytest.mark.parametrize("name", STUDIOS)
def test_a_question_without_its_tables_is_refused_with_what_it_would_bring(studios: dict[str, Path], name: str) -> None:
    found = dict(refusals(studios[name]))
    assert set(found) == REFUSED[name]
    for refusal in found.values():
        assert str(refusal).startswith(f"Not recorded here: {refusal.absent[0]}")
        assert COSTS[refusal.absent[0]][1:] in str(refusal)


@pytest.mark.parametrize("name", STUDIOS)
def test_the_command_prints_the_same_sentence_and_ends_well(studios: dict[str, Path], name: str) -> None:
    for question, refusal in refusals(studios[name]):
        words = ["show", question, "--warehouse", str(studios[name]), *(["--rider", "R0001"] if question == "next" else [])]
        plain = CliRunner().invoke(app, words)
        assert (plain.exit_code, plain.output) == (0, f"{refusal}\n")
        told = json.loads(CliRunner().invoke(app, [*words, "--json"]).output)
        assert told == {"question": question, "headline": str(refusal), "not_recorded": list(refusal.absent)}


def test_visits_alone_tell_how_many_came_again(studios: dict[str, Path]) -> None:
    visits = sparse()["no_follow_ups"]["fit_sessions"]
    n_follow_ups = int((visits["visit_kind"] == "follow_up").sum())
    in_time = 0
    for _, of_rider in visits.sort_values(["session_date", "session_id"]).groupby("rider_id"):
        fitted = None
        for day, kind in zip(of_rider["session_date"].astype("datetime64[ns]"), of_rider["visit_kind"], strict=True):
            if kind == "follow_up":
                in_time += fitted is not None and (day - fitted).days <= 42
            else:
                fitted = day
    assert n_follow_ups > 10
    told = f"{n_follow_ups} visits are follow-ups by kind; {in_time} came within 42 days of the rider's fit before."
    assert f"From visits alone: {told}" in words_of(studios["no_follow_ups"], "returns")


def test_arrival_and_departure_alone_tell_the_plain_change(studios: dict[str, Path]) -> None:
    captures = sparse()["two_captures"]["knee_captures"]
    tilt = captures.assign(tilt=captures["knee_tilt_deg"].astype(str).replace("", "nan").astype(float).abs())
    wide = tilt.pivot(index=["session_id", "side"], columns="capture_no", values="tilt").dropna()
    change = wide["2"] - wide["1"]
    told = words_of(studios["two_captures"], "effects")
    number = f"{change.mean():.2f}".replace("-", "\N{MINUS SIGN}")
    assert f"the distance of the tilt from neutral changed by {number}°" in told
    assert f"on average over {len(change)} knees: knees left nearer to neutral" in told
    assert "Of a single knee nothing is told: how much it differs from itself is neither recorded nor assumed" in told
    assert "sway" not in words_of(studios["tilt_only"], "effects")


def test_a_studio_may_assume_its_noise(studios: dict[str, Path]) -> None:
    settings = Settings.model_validate({"noise": {"assumed_tilt_deg": 0.5}})
    path = studios["two_captures"]
    told = words_of(path, "effects", settings)
    assert "By the noise that the studio assumes" in told and "by more than 1.4°" in told
    asker = Asker(path, settings, lambda: TODAY)
    studio = {row.figure: row for row in asker.ask("studio", Selection()).figures}  # type: ignore[attr-defined]
    assert studio["knees_better"].estimate is not None
    noise = {row.outcome: row for row in asker.ask("noise", Selection()).noise}  # type: ignore[attr-defined]
    assert (noise["tilt"].known_by, noise["tilt"].typical_error) == ("assumed", 0.5)
    assert "assumes a typical error of 0.50° (a setting)" in noise["tilt"].words
    assert noise["sway"].typical_error is None
    without = Asker(path, Settings(), lambda: TODAY).ask("studio", Selection()).figures  # type: ignore[attr-defined]
    assert {row.figure: row.estimate for row in without}["knees_better"] is None


def test_a_split_or_filter_by_the_exam_needs_exams(studios: dict[str, Path]) -> None:
    asker = Asker(studios["no_exams"], Settings(), lambda: TODAY)
    for selection in (Selection(split="foot_type"), Selection(arch_height=("low",))):
        with pytest.raises(NotRecordedError, match="Not recorded here: foot_exams"):
            asker.ask("asymmetry", selection)


def test_a_whole_studio_is_told_nothing_of_the_kind(complete: Path) -> None:
    assert not dict(refusals(complete))
    asker = Asker(complete, Settings(), lambda: TODAY)
    for question in ("studio", "data", "fitters", "returns", "riders", "periods"):
        assert b"ot recorded here" not in asker.ask(question, Selection()).to_json(), question


def test_what_figures_and_questions_stand_on_is_in_the_catalogue() -> None:
    stands = {stand for stands_on in (*FIGURES.values(), *SPLIT_BY.values()) for stand in stands_on}
    stands |= {stand for question in QUESTIONS.values() for stand in question.stands_on}
    assert stands <= set(COSTS)
    for stand in COSTS:
        table, _, column = stand.partition(".")
        assert table in catalogue() and (not column or column in catalogue()[table].column_names)
    assert set(SPLIT_BY) <= set(SPLITS)
