"""No model is fitted twice for what a reader sees of one selection: page, short report and full one share their fits."""

import hashlib
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dashboard.components.address import Addresses, View
from dashboard.components.page import Desk
from dashboard.pages import PAGES
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL
from dashboard.questions.effects import effect_parts
from dashboard.questions.effects.answers_effects import DoseRow, Effects
from dashboard.questions.models import effect_models
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.claims import Found, Noted, claims_if_narrowed
from dashboard.questions.models.frames import Frame
from dashboard.questions.models.thirds import Thirds
from dashboard.questions.selection.selection import parse_selection
from dashboard.report.contents import sections
from dashboard.report.short import short_report
from shared.settings import Settings
from shared.statistics.mixed.answers import MixedFit
from shared.statistics.mixed.cells import Cells, Flags
from shared.statistics.mixed.terms import Terms


def test_no_model_is_fitted_twice_for_page_and_reports(demo_warehouse: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Five views of Supports take a fit each for the answer, levels and the checks, two for doses and three over all."""
    fits: Counter[str] = Counter()
    fit = effect_models.fit_mixed_cells

    def counted(cells: Cells, terms: Terms, wanted: Flags, begun: Mapping[str, float] | None = None) -> MixedFit:
        seen = hashlib.sha256(np.ascontiguousarray(cells.outcome).tobytes())
        seen.update(np.ascontiguousarray(cells.mean).tobytes() + terms.level.tobytes() + repr(terms.names).encode())
        fits[seen.hexdigest()] += 1
        return fit(cells, terms, wanted, begun)

    desk = Desk(AskedBy(Asker(demo_warehouse, Settings()), lambda: LOCAL), Addresses("/"))
    selection = parse_selection({"from": "2025-01-01"})
    desk.asker.ask("effects", parse_selection({}), parts=("overall",))
    monkeypatch.setattr(effect_models, "fit_mixed_cells", counted)
    (supports,) = (page for page in PAGES if page.path == "supports")
    for show in supports.shows(desk).values():
        show(View(selection, {}), "light")
    assert (len(fits), set(fits.values())) == (8, {1})
    quiet: Any = {"with_fitters": False, "told": lambda _: None}
    assert list(short_report(desk, selection, **quiet)) and list(sections(desk, selection, **quiet))
    assert (len(fits), set(fits.values())) == (8, {1})


def test_what_doses_pay_for_does_not_ask_the_third_estimate_where_it_could_claim_nothing(
    demo_warehouse: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every dose is judged as if the third had been asked of all outcomes."""
    asked: list[str] = []
    thirds = effect_parts.thirds_of

    def counted(frame: Frame, within: tuple[str, ...]) -> Thirds:
        asked.append(frame.outcome)
        return thirds(frame, within)

    def doses() -> tuple[DoseRow, ...]:
        asker = Asker(demo_warehouse, Settings())
        answer = asker.ask("effects", parse_selection({"forefoot": "marked_varus"}), parts=("dose",), outcomes=("tilt",))
        assert isinstance(answer, Effects) and answer.dose
        return answer.dose

    monkeypatch.setattr(effect_parts, "thirds_of", counted)
    plain = doses()
    assert not asked
    monkeypatch.setattr(effect_parts, "claims_if_narrowed", lambda found, q_value: True)
    assert doses() == plain
    assert tuple(asked) == effect_parts.OUTCOMES


@pytest.mark.parametrize(
    ("disagree", "told", "q_value", "may"),
    [
        (True, (-0.2, 0.4), 0.01, True),  # both far from zero, on either side of it
        (False, (-0.2, 0.4), 0.01, False),
        (True, (0.2, 0.4), 0.01, False),  # claimed already, and narrower still is
        (True, (-0.2, 0.4), 0.2, False),
        (True, (-0.2, 0.4), None, False),
        (True, (None, None), None, False),
    ],
)
def test_only_two_that_disagree_around_zero_may_claim_by_the_third(
    disagree: bool, told: tuple[float | None, float | None], q_value: float | None, may: bool
) -> None:
    none = (None,) * 8
    row = EffectRow("tilt", "shim", "deg", None, None, 9, 20, *none, q_value, "", told_low=told[0], told_high=told[1])
    assert claims_if_narrowed(Found(row, q_value, Noted(disagree, 0.1)), q_value) is may
