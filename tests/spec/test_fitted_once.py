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
from dashboard.questions.models import effect_models
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
