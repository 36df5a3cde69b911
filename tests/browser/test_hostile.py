"""Ids that look like markup are text in a real browser: nothing is loaded, run or asked for because of them."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from dashboard.pages import PAGES
from dashboard.questions.door.asking import Asker
from shared.settings import Settings
from tests.browser.conftest import watching
from tests.browser.serving import serving
from tests.unit.test_pages_hostile import FORMULA, MARKUP, make_hostile

pytestmark = pytest.mark.browser


def test_markup_in_ids_is_shown_as_it_is_written(browser: Browser, demo_warehouse: Path, tmp_path: Path) -> None:
    asker = Asker(make_hostile(demo_warehouse, tmp_path / "hostile.duckdb"), Settings())
    shown = []
    with serving(asker) as address, watching(browser) as watched:
        opened: list[str] = []
        watched.page.on("dialog", lambda dialog: opened.append(dialog.message) or dialog.dismiss())
        for page in PAGES:
            watched.open(f"{address}{page.path}")
            shown.append(watched.page.locator("body").inner_text())
            assert watched.page.locator("img[src=x], [onerror]").count() == 0
        assert opened == []
        assert [url for url in watched.requests if url.endswith("/x")] == []
        assert watched.said == []
    assert any(re.search(re.escape(FORMULA) + r"R\d{4}" + re.escape(MARKUP), text) for text in shown)
