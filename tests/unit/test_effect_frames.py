"""The captures that effects are estimated from, as cells: what varies within them, and what is counted, on five captures."""

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dashboard.questions.models.captures import Captures, captures_of_rows, labels_in, rows_by_cell
from dashboard.questions.models.effect_models import _effect_row, _tangled
from dashboard.questions.models.forms import PLAIN, Form
from dashboard.questions.models.frames import count_changes, frame_of, split_support_columns, standard_columns, straight_columns
from dashboard.questions.models.study import Study
from dashboard.questions.models.supports import Counts, SupportColumn
from tests.unit.test_effect_words import fits

# Rider 1's left knee three times, rider 2's right one twice, by no order of riders.
ROWS: dict[str, np.ndarray] = {
    "rider": np.array([2, 1, 1, 1, 2]),
    "session_knee": np.array([7, 3, 3, 3, 7]),
    "rider_id": np.array(["R2", "R1", "R1", "R1", "R2"], dtype=object),
    "side": np.array(["right", "left", "left", "left", "right"], dtype=object),
    "insole_level": np.array(["none", "none", "low", "low", "custom"], dtype=object),
    "shim_place": np.array([None, None, "in_shoe", "in_shoe", None], dtype=object),
    "total_shims": np.array([0, 0, 1, 2, 1]),
    "stance_mm": np.array([0.0, 0.0, 0.0, 2.0, 0.0]),
    "capture_order": np.array([0, 0, 1, 6, 5]),
    "tilt": np.array([1, 2, 3, 4, 5]),
}


@pytest.fixture
def captures() -> Captures:
    return captures_of_rows(ROWS)


def test_rows_become_cells_by_rider_in_the_order_of_their_captures(captures: Captures) -> None:
    assert (captures.n.tolist(), captures.rider.tolist(), captures.rider_id.tolist()) == ([3, 2], [1, 2], ["R1", "R2"])
    assert list(captures.cells) == ["side"] and list(captures.cells["side"]) == ["left", "right"]
    assert captures.rows["tilt"].tolist() == [2.0, 3.0, 4.0, 1.0, 5.0]
    assert captures.cell_of_row.tolist() == [0, 0, 0, 1, 1]
    assert np.isnan(captures.angle_deg).all() and len(captures) == 5
    assert labels_in(captures.rows["insole_level"]) == ("none", "low", "custom")
    none = captures_of_rows({name: column[:0] for name, column in ROWS.items()})
    assert (len(none), none.n.tolist()) == (0, [])


def test_captures_without_a_figure_leave_their_cell_and_the_last_takes_it_along(captures: Captures) -> None:
    kept = captures.with_rows(np.array([True, False, True, False, False]))
    assert (kept.n.tolist(), kept.rider.tolist(), kept.rows["tilt"].tolist()) == ([2], [1], [2.0, 4.0])
    assert captures.with_rows(np.ones(5, bool)) is captures
    right = captures.chosen(np.array([False, True]))
    assert (right.place.tolist(), right.rows["tilt"].tolist(), list(right.cells["side"])) == ([1], [1.0, 5.0], ["right"])


def test_a_column_more_stands_beside_the_others_and_replaces_its_like(captures: Captures) -> None:
    more, other = captures.with_column("added", np.arange(5)), captures.with_column("tilt", np.zeros(5))
    assert (len(more.rows), len(other.rows)) == (len(captures.rows) + 1, len(captures.rows))
    assert set(more.rows) == {*captures.rows, "added"} and set(other.rows) == set(captures.rows)
    assert (more.rows["added"].tolist(), other.rows["tilt"].tolist()) == ([0, 1, 2, 3, 4], [0.0] * 5)
    assert more.rows["stance_mm"].tolist() == [0, 0, 2, 0, 0]


def test_rows_read_by_foot_go_to_their_cells_and_keep_their_order() -> None:
    """Cells of feet 5 and 2, in this order; a foot without a row has none."""
    n, columns = rows_by_cell(np.array([5, 2, 9]), {"foot": np.array([2, 5, 2, 5, 5]), "x": np.array([1, 2, 3, 4, 5])})
    assert (n.tolist(), columns["x"].tolist(), list(columns)) == ([3, 2, 0], [2, 4, 5, 1, 3], ["x"])


def values(columns: Sequence[Any], captures: Captures) -> dict[str, list[float]]:
    return {column.term: column.values(captures).tolist() for column in columns}


def test_the_columns_of_a_knee_are_its_supports_and_the_steps_of_the_capture_order(captures: Captures) -> None:
    """From the sixth capture on all share a step, named by the capture that it begins with."""
    assert values(standard_columns(), captures) == {
        "insole_low": [0, 1, 1, 0, 0], "insole_medium": [0] * 5, "insole_high": [0] * 5, "insole_custom": [0, 0, 0, 0, 1],
        "shim": [0, 1, 2, 0, 1], "stance": [0, 0, 2, 0, 0],
        "capture 2": [0, 1, 0, 0, 0], "capture 3": [0] * 5, "capture 4": [0] * 5, "capture 5": [0] * 5,
        "capture 6": [0, 0, 1, 0, 1],
    }  # fmt: skip
    assert values(straight_columns(), captures)["capture"] == [0, 1, 6, 0, 5]


def test_a_support_is_split_by_where_it_was_put_and_what_is_not_known_stands_by_itself(captures: Captures) -> None:
    columns = [column for column in split_support_columns("shim_place", "shim", captures) if column.of == "shim"]
    assert [(column.level, column.values(captures).tolist()) for column in columns] == [
        ("in_shoe", [0, 1, 2, 0, 0]), ("not examined", [0, 0, 0, 0, 1]),
    ]  # fmt: skip
    known = captures.with_column("total_shims", np.array([0, 1, 2, 0, 0]))
    assert [column.level for column in split_support_columns("shim_place", "shim", known) if column.of == "shim"] == ["in_shoe"]


def test_changes_are_counted_within_a_knee_alone(captures: Captures) -> None:
    """The last of a knee and the first of the next differ, and that is no change of anything."""
    columns = np.array([[0, 1, 1, 0, 0], [0, 1, 2, 0, 1]])
    assert count_changes(columns, np.array([3, 2])).tolist() == [[1, 2], [0, 1]]
    frame = frame_of(captures, "tilt")
    assert dict(zip((column.term for column in frame.columns), frame.changes.tolist(), strict=True))["shim"] == 3
    one = frame.chosen(np.array([False, True]))
    assert (one.changes[: len(one.supports)].tolist(), one.captures.rider.tolist()) == ([0, 0, 0, 1, 1, 0], [2])


def test_a_study_keeps_the_frame_of_the_form_that_was_asked_last(captures: Captures) -> None:
    study, both = Study(captures, np.array([1, 2])), np.ones(2, bool)
    first = study.frame("tilt", both)
    assert study.frame("tilt", both) is first
    late = study.frame("tilt", both, Form(is_late=True))
    assert [column.of for column in late.columns].count("late") == 6 and study.frame("tilt", both, Form(is_late=True)) is late
    again = study.frame("tilt", both, PLAIN)
    assert again is not first and [column.term for column in again.columns] == [column.term for column in first.columns]


@pytest.mark.parametrize("which", ["pooled", "within"])
def test_an_estimate_that_rests_on_one_rider_in_either_model_is_not_told(which: str) -> None:
    """Without degrees of freedom in one of the two there is no figure, whatever the other says."""
    told = {"shim": (0.5, 0.1), "stance": (0.1, 0.1), "insole_low": (0.2, 0.1)}
    made = fits(told, told)
    alone = replace(made, **{which: replace(getattr(made, which), df=np.array([0.0, 9.0, 9.0]))})
    found = _effect_row(SupportColumn("shim", None), Counts(40, 20), "tilt", None, None, alone)
    assert (found.row.pooled, found.row.told_low, found.p_value) == (None, None, None)
    assert found.row.words.startswith("One more varus shim: ")
    assert _effect_row(SupportColumn("stance", None), Counts(40, 20), "tilt", None, None, alone).row.pooled == 0.1


def test_a_tie_of_what_is_held_is_none_of_the_supports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "dashboard.questions.models.effect_models.within_ties", lambda *_: {"shim": ("capture 2",), "capture 2": ("shim",)}
    )
    within = SimpleNamespace(names=("shim", "capture 2"), kept=lambda flags: flags)
    design = SimpleNamespace(
        frame=SimpleNamespace(cells=None), within=within, columns=[SupportColumn("shim", None)], counts=[Counts(4, 2)]
    )
    assert _tangled(design) == {"shim": ("capture 2",)}  # type: ignore[arg-type]
