"""The types question on feet few enough to count by hand."""

import numpy as np
import pytest

from dashboard.questions.selection.selection import parse_selection
from dashboard.questions.symmetry import types
from dashboard.questions.symmetry.answers_types import TypeRow, Types
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
from shared.warehouse import Warehouse
from tests.spec.tables import fill

FEW = Settings.model_validate({"minimum": {"rows_shown": 2}})

SESSIONS = """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind
---------- | -------- | --------- | --------- | ------------ | ----------
S1         | R1       | F1        | quayside  | 2026-03-02   | first
S2         | R2       | F1        | quayside  | 2026-03-03   | first
S3         | R3       | F1        | ropewalk  | 2026-03-04   | first
S4         | R1       | F1        | quayside  | 2026-04-02   | refit
"""
# R1's left foot was examined twice: the later exam counts. The limits themselves: 2.0 is neutral, -2.0 too, 8.0 is mild.
EXAMS = """
session_id | side  | arch_height | arch_collapse | heel_posture | forefoot_angle_deg
---------- | ----- | ----------- | ------------- | ------------ | ------------------
S1         | left  | high        | none          | neutral      | -5
S1         | right | low         | some          | neutral      | 8.0
S2         | left  | medium      | none          | everted      | 2.0
S2         | right | medium      | none          | -            | 8.1
S3         | left  | low         | -             | neutral      | -2.1
S3         | right | -           | none          | inverted     | -
S4         | left  | low         | none          | neutral      | -2.0
"""


def asked(memory: Warehouse, words: dict[str, str] | None = None, settings: Settings = FEW) -> Types:
    fill(
        memory,
        riders="rider_id | riding\nR1 | road\nR2 | gravel\nR3 | road",
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions=SESSIONS,
        foot_exams=EXAMS,
    )
    return types.ask(memory, parse_selection(words or {}), settings)


def counts(answer: Types, column: str, level: str | None = None) -> dict[str, tuple[int, int, int]]:
    rows = (row for row in answer.types if (row.column, row.level) == (column, level))
    return {row.kind: (row.n_feet_of_kind, row.n_feet, row.n_riders) for row in rows}


def row(answer: Types, column: str, kind: str) -> TypeRow:
    return next(row for row in answer.types if (row.column, row.kind, row.level) == (column, kind, None))


def test_the_latest_exam_of_each_foot_counts(memory: Warehouse) -> None:
    answer = asked(memory)
    assert counts(answer, "arch_height") == {"low": (3, 5, 3), "medium": (2, 5, 3)}  # R3's right arch is missing
    assert counts(answer, "forefoot") == {
        "varus": (2, 5, 3),  # 8.0 and 8.1
        "valgus": (1, 5, 3),  # -2.1
        "neutral": (2, 5, 3),  # -2.0 and 2.0
        "mild_varus": (1, 5, 3),
        "marked_varus": (1, 5, 3),
    }
    assert counts(answer, "arch_collapse") == {"none": (4, 5, 3), "some": (1, 5, 3)}
    # Collapse: R1 right gives way, R2 left is everted; unknown: R2 right without heel, R3 left without arch; no: the rest.
    assert counts(answer, "collapse") == {"yes": (2, 4, 3)}
    assert counts(answer, "foot_type") == {
        "low arch, valgus": (1, 5, 3),
        "low arch, neutral": (1, 5, 3),
        "low arch, mild_varus": (1, 5, 3),
        "medium arch, neutral": (1, 5, 3),
        "medium arch, marked_varus": (1, 5, 3),
    }


def test_shares_know_that_feet_come_in_pairs(memory: Warehouse) -> None:
    low = row(asked(memory), "arch_height", "low")
    expected = clustered_share(np.array([1.0, 1, 0, 0, 1]), np.array([0, 0, 1, 1, 2]), 0.95)
    assert (low.share, low.low, low.high) == pytest.approx((3 / 5, expected.low, expected.high))
    assert low.n_effective == pytest.approx(expected.n_effective)
    # Each rider's feet are alike here. Residual sums 2 * 0.4, 2 * -0.6, 0.4: variance 2.24 / 25 * 3 / 2; binomial 0.24 / 5.
    assert low.n_effective == pytest.approx(5 * (0.24 / 5) / (2.24 / 25 * 3 / 2))


def test_published_shares_stand_beside_the_three_forefoot_classes(memory: Warehouse) -> None:
    answer = asked(memory)
    published = {row.kind: row.published_share for row in answer.types if row.published_share is not None}
    assert published == {"varus": 0.8667, "valgus": 0.0875, "neutral": 0.0458}
    assert row(answer, "forefoot", "varus").words.endswith("; 86.67\N{NO-BREAK SPACE}% published).")
    assert "Garbalosa" in answer.method["published_share"] and "one of method" in answer.cautions[0]


def test_both_feet_alike(memory: Warehouse) -> None:
    alike = {row.column: (row.n_alike, row.n_riders) for row in asked(memory).alike}
    assert alike["arch_height"] == (2, 2)  # R3's right arch is missing
    assert alike["forefoot"] == (0, 2)


def test_limits_side_and_split(memory: Warehouse) -> None:
    wide = Settings.model_validate({"minimum": {"rows_shown": 2}, "forefoot": {"neutral_within_deg": 2.5}})
    assert counts(asked(memory, settings=wide), "forefoot")["neutral"] == (3, 5, 3)
    assert counts(types.ask(memory, parse_selection({"side": "left"}), FEW), "arch_height") == {
        "low": (2, 3, 3),
        "medium": (1, 3, 3),
    }
    split = types.ask(memory, parse_selection({"split": "side"}), FEW)
    assert counts(split, "arch_height", "left") == {"low": (2, 3, 3), "medium": (1, 3, 3)}
    by_arch = types.ask(memory, parse_selection({"split": "arch_height"}), FEW)
    assert counts(by_arch, "forefoot", "medium")["neutral"] == (1, 2, 1)
    assert counts(by_arch, "arch_height", "medium") == {}  # a column is not split by itself


def test_few_riders_get_words(memory: Warehouse) -> None:
    answer = asked(memory, settings=Settings())
    assert row(answer, "arch_height", "low").share is None
    assert "not enough yet, 5 feet examined" in answer.headline
