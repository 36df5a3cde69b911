"""The dialogue of a mapping on the Data page, from foreign files to first figures and the load, in a browser."""

from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from shared.settings import Settings
from shared.settings_running import Upload
from shared.warehouse import open_reading
from tests.browser.conftest import Served, Watched
from tests.browser.test_data import CHOOSE, LOAD, choose, own, pytestmark
from tests.spec.test_mapping_assistant import ANSWERS, Truth, export

__all__ = ["pytestmark"]
PUT_OFF = "knee_captures.knee_sway_mm.unit"
PROPOSE = "Propose how they are read"


def step(page: Page) -> str | None:
    """The key of the question that is shown; None where nothing is asked any more."""
    expect(page.locator("#data-working")).to_have_text("", timeout=60_000)
    buttons = page.locator("#data-findings [data-answer]")
    return buttons.first.get_attribute("data-key") if buttons.count() else None


def say(page: Page, key: str, said: str) -> None:
    """Answers by the button of that answer, or by typing it, and waits for the next step."""
    button = page.locator(f'#data-findings [data-answer="{said}"]')
    title = page.locator("#data-findings .outcome")
    page.evaluate("document.querySelector('#data-findings .outcome').dataset.before = 'yes'")
    if button.count():
        button.click()
    else:
        page.get_by_label("Another answer").fill(said)
        page.get_by_role("button", name="Say it").click()
    expect(title).not_to_have_attribute("data-before", "yes", timeout=60_000)
    assert step(page) != key


def knees(path: Path) -> list[tuple[object, ...]]:
    warehouse = open_reading(path)
    try:
        rows = warehouse.rows(
            "SELECT session_id, capture_no, side, knee_tilt_deg, knee_sway_mm FROM core.knee_captures "
            "WHERE session_id LIKE 'B0%' ORDER BY ALL"
        )
        return [tuple(row.values()) for row in rows]
    finally:
        warehouse.close()


def truth_of(truth: Truth, *, sway: bool) -> list[tuple[object, ...]]:
    names = ("session_id", "capture_no", "side", "knee_tilt_deg", "knee_sway_mm")
    return sorted(tuple(one[name] if sway or name != "knee_sway_mm" else None for name in names) for one in truth.captures)


def test_foreign_files_are_asked_about_put_off_shown_and_loaded(served: Served, watched: Watched, tmp_path: Path) -> None:
    truth = Truth()
    folder = export(tmp_path / "foreign", truth)
    with own(served, tmp_path) as (address, asker):
        content = asker.path.read_bytes()
        page = watched.open(address)
        choose(page, sorted(folder.iterdir()))
        page.get_by_role("button", name=PROPOSE).click()
        expect(page.locator("#data-findings .outcome")).to_contain_text("Proposed for", timeout=60_000)
        found, asked = page.locator("#data-findings"), []
        while key := step(page):
            asked.append(key)
            if key == "knee_captures.knee_tilt_deg.sign":
                # Five of the reader's own cells, three of the left and two of the right, beside what they would become.
                expect(found.get_by_role("rowheader")).to_have_count(5)
                assert Axe().run(page).violations_count == 0
            say(page, key, "later" if key == PUT_OFF else ANSWERS[key])
        assert asked == [key for key in asked if key in ANSWERS] and PUT_OFF in asked
        expect(found.locator(".outcome")).to_have_text(
            "Proposed for 5 tables; nothing is left to ask, 1 put off. Nothing is loaded."
        )
        expect(found).to_contain_text("In which unit is 'Pendeln L [cm] | Pendeln R [cm]'")
        expect(found.locator("table", has_text="Mean tilt").get_by_role("row")).to_have_count(3)
        expect(found).to_contain_text("12 visits with 3 captures")
        assert asker.path.read_bytes() == content

        page.get_by_role("button", name="Ask now").click()
        expect(found.locator(".outcome")).to_contain_text("1 question left. Nothing is loaded.", timeout=60_000)
        assert step(page) == PUT_OFF
        say(page, PUT_OFF, "later")
        page.get_by_role("button", name="Check these files by it").click()
        expect(found.locator(".outcome")).to_contain_text("By the mapping that you confirmed. Checked", timeout=60_000)
        page.get_by_role("button", name=LOAD).click()
        expect(found.locator(".outcome")).to_contain_text("Load 2 is in.", timeout=60_000)
        assert knees(asker.path) == truth_of(truth, sway=False)
        assert watched.said == []


def test_the_folder_of_the_server_is_read_and_no_other(served: Served, watched: Watched, tmp_path: Path) -> None:
    folder = export(tmp_path / "drop", Truth())
    with own(served, tmp_path, Settings(upload=Upload(folder=str(folder)))) as (address, _):
        page = watched.open(address)
        page.get_by_role("button", name="Read the folder drop").click()
        page.get_by_role("button", name=PROPOSE).click()
        expect(page.locator("#data-findings .outcome")).to_contain_text("Proposed for 5 tables", timeout=60_000)
        assert step(page) == "riders.height_cm.unit"
        assert sorted(file.name for file in folder.iterdir()) == ["Kartei.xlsx", "Messungen.csv"]
        assert watched.said == []
    with own(served, tmp_path) as (address, _):
        page = watched.open(address)
        expect(page.get_by_role("button", name=CHOOSE)).to_be_visible()
        expect(page.get_by_role("button", name="Read the folder")).to_have_count(0)
        told = page.evaluate(
            """async () => (await (await fetch(document.getElementById("data-drop").dataset.address + "/folder?folder=/etc",
            { method: "POST", headers: { "X-Fitledger": "upload" } })).json()).words"""
        )
        assert told.startswith("No folder is named that this page may read. Nothing was changed.")
