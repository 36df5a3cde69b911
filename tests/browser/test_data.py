"""The Data page: its figures, and exports handed in, checked, loaded and taken back, on a warehouse of the test's own."""

import json
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import parse_selection
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.settings_running import Upload
from shared.warehouse import open_reading
from tests.browser.conftest import Served, Watched
from tests.browser.serving import serving

pytestmark = pytest.mark.browser

EXPORT = {
    "riders.csv": "rider_id,birth_year\nRX01,1984\n",
    "fit_sessions.csv": "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind\n"
    "SX01,RX01,{fitter},{studio},{day},first\n",
    "knee_captures.csv": "session_id,capture_no,side,knee_tilt_deg,knee_sway_mm\n"
    "SX01,1,left,4.5,15\nSX01,1,right,3.5,14\nSX01,2,left,1.5,13\nSX01,2,right,745,\n",
}
CHOOSE = "Choose files"
LOAD = "Load these files"


@contextmanager
def own(served: Served, folder: Path, settings: Settings | None = None) -> Iterator[tuple[str, Asker]]:
    """The demo served from a copy of the warehouse that the test may write."""
    copy = folder / "own.duckdb"
    shutil.copyfile(served.asker.path, copy)
    asker = Asker(copy, settings or Settings())
    with serving(asker) as address:
        yield f"{address}data/load-files", asker


def core(path: Path) -> dict[str, Any]:
    warehouse = open_reading(path)
    found = {name: warehouse.rows(f'SELECT * FROM core."{name}" ORDER BY ALL') for name in catalogue()}
    warehouse.close()
    return found


def export(folder: Path, asker: Asker) -> list[Path]:
    """A new rider with a fit of two captures, one of whose four rows is broken."""
    choices = asker.choices()
    names = {"fitter": choices.fitter[0], "studio": choices.studio[0], "day": choices.last_date}
    for name, text in EXPORT.items():
        (folder / name).write_text(text.format(**names), encoding="utf-8")
    return [folder / name for name in EXPORT]


def choose(page: Page, files: list[Path]) -> None:
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name=CHOOSE).click()
    chooser.value.set_files(files)


def drop(page: Page, *files: tuple[str, str]) -> None:
    """Drops files of these names and contents on the place for them."""
    carried = page.evaluate_handle(
        """files => { const carried = new DataTransfer();
        files.forEach(([name, text]) => carried.items.add(new File([text], name))); return carried; }""",
        [list(file) for file in files],
    )
    for kind in ("dragenter", "dragover", "drop"):
        page.dispatch_event("#data-drop", kind, {"dataTransfer": carried})


def data(asker: Asker, **words: str) -> Any:
    return asker.ask("data", parse_selection(words))


def fits(asker: Asker) -> int:
    """How many fits the Studio page tells of."""
    for question in ("trends", "studio"):
        answer: Any = asker.ask(question, parse_selection({}))
    return int(answer.n_fits)


def test_exports_are_checked_then_loaded_then_taken_back(served: Served, watched: Watched, tmp_path: Path) -> None:
    with own(served, tmp_path) as (address, asker):
        before, content = core(asker.path), asker.path.read_bytes()
        n_fits = fits(asker)
        page = watched.open(address)
        choose(page, export(tmp_path, asker))
        found = page.locator("#data-findings")
        expect(found.locator(".outcome")).to_have_text(
            "Checked 3 files. Of 6 rows, 5 would be stored and 1 rejected. Nothing is written yet."
        )
        expect(found.locator(".outcome")).to_be_focused()
        expect(found).to_contain_text("knee_captures.csv, line 5")
        expect(found).to_contain_text("found 745, expected a number from -30 to 30")
        assert asker.path.read_bytes() == content

        page.get_by_role("button", name=LOAD).click()
        expect(found.locator(".outcome")).to_have_text(
            "Load 2 is in. Of 6 rows, 5 are stored and 1 rejected. The pages follow."
        )
        expect(page.locator("tr[data-row='2']")).to_contain_text("riders.csv")
        watched.settled()
        expect(page.locator("#headline")).to_have_text(data(asker).headline)
        assert any(row.value == "745" for row in data(asker).rejects)
        views = page.get_by_role("navigation", name="Views of Data")
        views.get_by_role("link", name="Left out").click()
        # As a reader, who sees the list before the next click.
        watched.settled()
        page.get_by_role("link", name="Outside the limits", exact=True).click()
        watched.settled()
        page.get_by_role("link", name="next rows").click()
        expect(page.locator("#data-left-out")).to_contain_text("knee_captures.csv, line 5")
        # Asked before the page asks, so that the page does not wait for it.
        assert fits(asker) == n_fits + 1
        page.get_by_role("navigation", name="Pages").get_by_role("link", name="Fitters").click()
        expect(page.locator("#selected")).to_contain_text(f"{n_fits + 1:,} fits")

        page.get_by_role("navigation", name="Pages").get_by_role("link", name="Data").click()
        views.get_by_role("link", name="Load files").click()
        page.get_by_role("button", name="Take back load 2").click()
        asked = page.locator("#data-taken")
        expect(asked).to_contain_text("5 rows that no other load brought would go, and 0 rows would be again")
        assert core(asker.path) != before
        page.get_by_role("button", name="Take load 2 back").click()
        expect(asked).to_contain_text("Load 2 is taken back: 3 files, 5 versions of rows. The pages follow.")
        expect(page.locator("tr[data-row='2']")).to_contain_text(re.compile(r"taken back \d+\s\w{3}\s\d{4},\s\d\d:\d\d"))
        assert core(asker.path) == before
        assert not any(row.value == "745" for row in data(asker).rejects)
        assert watched.said == []


def test_what_is_put_aside_is_not_written_and_a_load_may_stay(served: Served, watched: Watched, tmp_path: Path) -> None:
    with own(served, tmp_path) as (address, asker):
        content = asker.path.read_bytes()
        page = watched.open(address)
        # The keyboard opens the chooser too.
        with page.expect_file_chooser() as chooser:
            page.get_by_role("button", name=CHOOSE).press("Enter")
        chooser.value.set_files(export(tmp_path, asker))
        page.get_by_role("button", name="Put them aside").click()
        expect(page.locator("#data-findings")).to_contain_text("The files are put aside. Nothing was written.")
        page.get_by_role("button", name="Take back load 1").click()
        page.get_by_role("button", name="Leave it").click()
        expect(page.locator("#data-taken")).to_have_text("The load stays.")
        assert asker.path.read_bytes() == content
        assert watched.said == []


def test_dropped_files_with_hostile_names_are_shown_as_they_may_be(served: Served, watched: Watched, tmp_path: Path) -> None:
    with own(served, tmp_path) as (address, _):
        page = watched.open(address)
        broken = "rider_id,birth_year,height_cm\nRX1,1980,17\n"
        drop(page, ("..\\..\\riders.csv", broken), ("riders.csv", broken), ("<b onclick=x>riders.csv", "x\n"), ("", "x"))
        found = page.locator("#data-findings")
        expect(found.locator(".outcome")).to_contain_text("Checked 4 files (2 refused).")
        for name in ("riders.csv", "riders-2.csv", "<b onclick=x>riders.csv", "unnamed"):
            expect(found.get_by_role("rowheader", name=name, exact=True)).to_have_count(1)
        expect(found.locator("b")).to_have_count(0)
        with page.expect_download() as started:
            found.get_by_role("link", name="every finding").click()
        text = Path(started.value.path()).read_text(encoding="utf-8")
        assert text.count("height_cm") >= 2
        drop(page, ("notes.csv", "a\n1\n"))
        # The title takes the focus, so that it is read out; what follows says why, and what may be tried.
        expect(found.get_by_role("heading", name="None of these files can be read as it is.")).to_be_focused()
        expect(found).to_contain_text("Nothing can be used, nothing was written. notes.csv: its name is none of the tables'.")
        expect(found.get_by_role("button", name="Propose how they are read")).to_have_count(1)
        expect(page.get_by_role("button", name=LOAD)).to_have_count(0)
        assert watched.said == []


def test_files_that_are_too_large_are_not_sent(served: Served, watched: Watched, tmp_path: Path) -> None:
    with own(served, tmp_path, Settings(upload=Upload(largest_mb=1))) as (address, _):
        page = watched.open(address)
        large = tmp_path / "riders.csv"
        large.write_bytes(b"x" * 1_200_000)
        choose(page, [large])
        said = page.locator("#data-said")
        expect(said).to_contain_text(
            "1 file, 1.2 MB. The files are larger than the 1 MB that can be sent from this page at once."
        )
        expect(said).to_contain_text("fitledger load FOLDER")
        assert not any(url.endswith("/upload") for url in watched.requests)
        assert watched.said == []


def test_two_readers_keep_their_files_apart_and_a_change_between_is_told(
    served: Served, watched: Watched, second: Watched, tmp_path: Path
) -> None:
    with own(served, tmp_path) as (address, asker):
        one, other = watched.open(address), second.open(address)
        drop(one, ("riders.csv", "rider_id,birth_year\nRX1,1980\n"))
        drop(other, ("riders-other.csv", "rider_id,birth_year\nRX1,1980\nRX2,1981\n"))
        expect(one.locator("#data-findings")).to_contain_text("Of 1 row, 1 would be stored.")
        expect(other.locator("#data-findings")).to_contain_text("Of 2 rows, 2 would be stored.")
        expect(one.locator("#data-findings")).not_to_contain_text("riders-other.csv")
        one.get_by_role("button", name=LOAD).click()
        expect(one.locator("#data-findings")).to_contain_text("Load 2 is in.")
        other.get_by_role("button", name=LOAD).click()
        expect(other.locator("#data-findings .outcome")).to_contain_text(
            "The warehouse has changed since these files were checked"
        )
        expect(other.locator("#data-findings .outcome")).to_contain_text("Of 2 rows, 1 would be stored and 1 unchanged.")
        assert [row.load_id for row in data(asker).loads] == [1, 2]
        other.get_by_role("button", name=LOAD).click()
        expect(other.locator("#data-findings")).to_contain_text("Load 3 is in. Of 2 rows, 1 is stored and 1 unchanged.")
        assert watched.said == [] and second.said == []


def test_where_loading_is_switched_off_the_page_says_so(served: Served, watched: Watched, tmp_path: Path) -> None:
    with own(served, tmp_path, Settings(upload=Upload(allowed=False))) as (address, _):
        page = watched.open(address)
        expect(page.locator("#data-upload")).to_contain_text("Loading from this page is switched off in the studio's settings")
        expect(page.locator("tr[data-row='1']")).to_contain_text("stands")
        for name in (CHOOSE, "Take back load 1"):
            expect(page.get_by_role("button", name=name)).to_have_count(0)
        assert watched.said == []


@pytest.mark.parametrize(
    "words",
    [
        {},
        {"visit_kind": "first"},
        {"from": "2025-01-01", "to": "2025-06-30"},
        {"from": "1999-01-01", "to": "1999-01-02"},
    ],
)
def test_the_page_prints_the_answers_of_the_selection(served: Served, watched: Watched, words: dict[str, str]) -> None:
    query = "&".join(f"{word}={value}" for word, value in words.items())
    page = watched.open(f"{served.address}data/deserves-a-look{'?' if query else ''}{query}")
    answer = data(served.asker, **words)
    expect(page.locator("#headline")).to_have_text(answer.headline)
    for row in answer.quality:
        printed = page.locator(f"tr[data-row={row.check}]")
        expect(printed).to_contain_text(row.words)
        assert json.loads(printed.locator("[data-share]").get_attribute("data-share") or "") == row.share
    page.get_by_role("navigation", name="Views of Data").get_by_role("link", name="Noise").click()
    if "1999-01-01" in words.values():
        expect(page.locator("#data-noise")).to_contain_text("No fit matches this selection")
        return
    noise: Any = served.asker.ask("noise", parse_selection(words))
    for row in noise.noise:
        printed = page.locator(f"#data-noise tr[data-row={row.outcome}]")
        expect(printed).to_contain_text(row.words)
        assert json.loads(printed.locator("[data-mdc95]").get_attribute("data-mdc95") or "") == row.mdc95
    assert watched.said == []


def test_the_answer_tells_the_age_of_the_newest_row_and_leads_to_what_waits(served: Served, watched: Watched) -> None:
    asker = Asker(served.asker.path, served.asker.settings, lambda: date(2026, 8, 29))
    answer = data(asker)
    with serving(asker) as address:
        page = watched.open(f"{address}data")
        tiles = page.locator(".tiles li")
        stored = sum(row.stored for row in answer.tables)
        left_out, waiting = (sum(getattr(row, name) for row in answer.tables) for name in ("rejected", "waiting"))
        expect(tiles.nth(0)).to_have_text("Newest row28 Aug 2026yesterday")
        expect(tiles.nth(1)).to_have_text(f"In the figures{stored:,}of {stored + left_out + waiting:,} rows that came in")
        expect(tiles.nth(2)).to_contain_text(f"Left out{left_out}")
        expect(tiles.nth(3)).to_contain_text(f"Waiting{waiting}")
        steps = page.locator(".next-steps")
        looks = sum(row.n for row in answer.warnings)
        expect(steps.get_by_role("link", name=f"{looks} rows deserve a look")).to_be_visible()
        steps.get_by_role("link", name=f"{left_out} rows were left out").click()
        expect(page).to_have_url(f"{address}data/left-out")
        expect(page.locator("#data-left-out")).to_contain_text(
            f"Rejected rows and cells left out, 1 to 10 of {len(answer.rejects)}"
        )


def test_older_addresses_lead_on(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}data?reason=orphan&start=10")
    expect(page).to_have_url(f"{served.address}data/left-out?reason=orphan&start=10")
    page = watched.open(f"{served.address}data#data-loads-table")
    expect(page).to_have_url(f"{served.address}data/load-files")


def test_axe_finds_nothing_in_what_a_step_tells(served: Served, watched: Watched, tmp_path: Path) -> None:
    with own(served, tmp_path) as (address, _):
        page = watched.open(address)
        drop(page, ("riders.csv", "rider_id,birth_year,height_cm\nRX1,1980,17\nRX2,1981,180\n"))
        expect(page.get_by_role("button", name=LOAD)).to_be_visible()
        page.get_by_role("button", name="Take back load 1").click()
        expect(page.get_by_role("button", name="Leave it")).to_be_visible()
        for other in ("Dark", "Light"):
            for width in (1280, 390):
                page.set_viewport_size({"width": width, "height": 844})
                found = Axe().run(page)
                assert found.violations_count == 0, found.generate_report()
                assert page.evaluate("document.documentElement.scrollWidth") <= width
            page.get_by_role("button", name=other).click()
            watched.settled()
        # A change of theme draws the charts anew, and leaves what was found where it is.
        expect(page.get_by_role("button", name=LOAD)).to_be_visible()
