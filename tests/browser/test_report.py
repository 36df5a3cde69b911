"""The short report and the full one in both forms: what the screens say, one file that needs nothing else, readable sheets."""

import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path
from typing import Any

import pypdfium2
import pypdfium2.raw
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from dashboard.app import create_app
from dashboard.components.address import Addresses, search_of
from dashboard.components.page import Desk
from dashboard.components.places import filled
from dashboard.figures.theme import interval
from dashboard.pages import PAGES
from dashboard.pages.fitters.callbacks import PAGE as FITTERS
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.selection.selection import Selection
from dashboard.report.browser import open_press
from dashboard.report.contents import OF_CASES, OF_GROUPS, OF_WORK
from dashboard.report.paper import of_class, words_of
from dashboard.report.short import ANSWERED
from dashboard.report.write import Wanted, form_of, whom_it_names, write_report
from shared.errors import ReportError, TooFewError, UsageError
from shared.warehouse import open_reading

pytestmark = pytest.mark.browser

QUARTER = Selection(date_from=date(2026, 1, 1), date_to=date(2026, 3, 31))
LETTER = ["Studio", "Supports", "Symmetry", "Returns"]
FULL = [*LETTER, "Fitters", "Data", "Methods and cautions"]
# Beyond so much of a sheet its lower part is a blank.
MOST_WHITE = 0.45


def written(asker: Asker, out: Path, selection: Selection = QUARTER, **wanted: bool) -> list[str]:
    """Writes the report; gives the steps that were told."""
    steps: list[str] = []
    asked = Wanted(form_of(out.name), **wanted)

    def told(done: int, total: int, words: str) -> None:
        assert done == len(steps) < total == asked.n_steps
        steps.append(words)

    write_report(asker, selection, out, asked, told)
    assert len(steps) == asked.n_steps
    return steps


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("report")


def apart(function: Any, *given: Any, **named: Any) -> Any:
    """Runs a function in a thread: Playwright runs once in each, and the tests' own browser has this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(function, *given, **named).result()


@pytest.fixture(scope="module")
def html(asker: Asker, folder: Path) -> str:
    assert apart(written, asker, folder / "q1.html")[-1] == "writing"
    return (folder / "q1.html").read_text(encoding="utf-8")


def opened(path: Path) -> Iterator[pypdfium2.PdfDocument]:
    document = pypdfium2.PdfDocument(path)
    yield document
    document.close()


@pytest.fixture(scope="module")
def pdf(asker: Asker, folder: Path) -> Iterator[pypdfium2.PdfDocument]:
    apart(written, asker, folder / "q1.pdf", with_fitters=True)
    yield from opened(folder / "q1.pdf")


@pytest.fixture(
    scope="module", params=[Selection(), QUARTER, Selection(studio=("ropewalk",))], ids=["all", "quarter", "studio"]
)
def short(asker: Asker, folder: Path, request: pytest.FixtureRequest) -> Iterator[pypdfium2.PdfDocument]:
    path = folder / f"short-{len(list(folder.iterdir()))}.pdf"
    apart(written, asker, path, request.param, short=True)
    yield from opened(path)


def plain(text: str) -> str:
    """Text with every kind of blank as one space, and what markup writes by its name as itself."""
    return re.sub(r"\s+", " ", text.replace("&#39;", "'").replace("&amp;", "&").replace("\xad", ""))


def text_of(html: str) -> str:
    return plain(re.sub(r"<[^>]+>", " ", html.partition("<body>")[2]))


def text_of_pdf(pdf: pypdfium2.PdfDocument) -> str:
    return plain(" ".join(page.get_textpage().get_text_range() for page in pdf))


def desk_of(asker: Asker) -> Desk:
    return Desk(AskedBy(asker, lambda: LOCAL), Addresses("/"))


def headline_of(asker: Asker, page: Any, selection: Selection) -> list[str]:
    """The statements of a page's headline."""
    head = filled(page, desk_of(asker))[page.head_id](search_of(selection.query()), None)
    (said,) = of_class(head, "headline")
    parts = said.children if isinstance(said.children, list) else [said.children]
    return [words for part in parts if (words := plain(words_of(part)).strip())]


def test_the_short_report_says_what_the_pages_say(asker: Asker, html: str) -> None:
    told = text_of(html).partition("The full report")[0]
    for page in ANSWERED:
        assert [words for words in headline_of(asker, page, QUARTER) if words not in told] == []
    assert headline_of(asker, FITTERS, QUARTER)[0] not in text_of(html)
    assert [name for name in LETTER if f"<span>{name}</span>" not in html] == []
    calls: Any = asker.ask("calls", Selection())  # whom to call is a matter of today, whatever dates are chosen
    assert re.search(rf"To do .*{len(calls.calls)} calls", told)
    assert "refer to a licensed clinician" in told and "1 Jan 2026 to 31 Mar 2026" in told


def test_the_short_report_takes_two_sheets(short: pypdfium2.PdfDocument) -> None:
    assert len(short) == 2
    assert white_of(short[0]) < MOST_WHITE
    assert "It names no rider." in text_of_pdf(short)


def test_fitters_are_told_in_the_short_report_where_asked_for(asker: Asker, pdf: pypdfium2.PdfDocument) -> None:
    text = text_of_pdf(pdf)
    assert headline_of(asker, FITTERS, QUARTER)[0] in text.partition("The full report")[0]
    assert "Agreement over time" in text


def test_every_section_stands_in_order(html: str) -> None:
    assert re.findall(r'<section class="section" id="[^"]+">\s*<h2>([^<]+)</h2>', html) == FULL
    assert "The full report" in html


def test_what_is_left_out_is_there_on_the_screens() -> None:
    views = {page.path: {view.path for view in page.views} for page in PAGES}
    for left_out in (OF_CASES, OF_WORK, OF_GROUPS):
        for path, names in left_out.items():
            assert set(names) <= views[path], path


def test_it_needs_nothing_else(html: str, folder: Path, browser: Browser) -> None:
    assert not re.search(
        r"<script|<link|<img|<button|<input|<a href=\"(?!#)|url\((?!(&quot;|[\"\x27])?(#|data:))|@import", html
    )
    page = browser.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto((folder / "q1.html").as_uri())
    assert [url for url in asked if not url.startswith("data:")] == [(folder / "q1.html").as_uri()]
    assert page.locator("svg").count() > 10
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.close()


def test_axe_finds_nothing(html: str, folder: Path, browser: Browser) -> None:
    assert html
    # The report forbids scripts, the one that checks it included.
    context = browser.new_context(bypass_csp=True, color_scheme="dark")
    page = context.new_page()
    page.goto((folder / "q1.html").as_uri())
    found = Axe().run(page).response["violations"]
    assert [(one["id"], [node["html"] for node in one["nodes"]][:2]) for one in found] == []
    context.close()


def test_its_figures_are_those_of_the_screens(html: str, asker: Asker) -> None:
    text = text_of(html)
    effects, periods = asker.ask("effects", QUARTER), asker.ask("periods", QUARTER)
    assert isinstance(effects, Effects)
    n_told = 0
    for row in effects.effects:
        if row.split is None and row.outcome == "tilt" and row.told_low is not None:
            assert plain(interval(row.told_low, row.told_high, row.unit, effect=True)) in text
            n_told += 1
    assert n_told >= 4
    assert plain(periods.headline).partition(";")[0] in text  # type: ignore[attr-defined]


def test_single_riders_are_named_where_asked_for(asker: Asker, html: str, tmp_path: Path) -> None:
    warehouse = open_reading(asker.path)
    rows = warehouse.rows("SELECT DISTINCT rider_id, session_id FROM mart.fits")
    warehouse.close()
    ids = {value for row in rows for value in row.values()}
    assert ids.isdisjoint(re.findall(r"\w+", text_of(html)))
    apart(written, asker, tmp_path / "named.html", with_riders=True)
    named = (tmp_path / "named.html").read_text(encoding="utf-8")
    assert not ids.isdisjoint(re.findall(r"\w+", text_of(named)))
    assert "names riders by the studio's own ids" in plain(named).replace("&#39;", "'")
    # The short report in front of it can still be passed on alone.
    assert ids.isdisjoint(re.findall(r"\w+", text_of(named).partition("The full report")[0]))


def test_it_says_whom_it_names() -> None:
    chosen, of_rider = Selection(), Selection(rider=("R0655",))
    assert whom_it_names(chosen, Wanted("pdf")) == "It names no rider."
    assert whom_it_names(chosen, Wanted("pdf", short=True, with_riders=True)) == "It names no rider."
    assert whom_it_names(chosen, Wanted("pdf", with_riders=True)).startswith("The full report names riders")
    assert whom_it_names(of_rider, Wanted("pdf", short=True)).startswith("It names riders by the studio's own ids")


def test_the_pdf_is_a4_tagged_numbered_and_its_text_can_be_selected(pdf: pypdfium2.PdfDocument) -> None:
    for page in pdf:
        assert page.get_size() == pytest.approx((595.3, 841.9), abs=1)
    assert pypdfium2.raw.FPDFCatalog_IsTagged(pdf)
    last = plain(pdf[len(pdf) - 1].get_textpage().get_text_range())
    assert f"Page {len(pdf)} of {len(pdf)}" in last
    assert "The full report" in [bookmark.get_title() for bookmark in pdf.get_toc() if bookmark.level == 0]
    assert "Medium insole" in text_of_pdf(pdf)


def test_charts_are_lines_and_not_pictures(pdf: pypdfium2.PdfDocument) -> None:
    kinds = {pypdfium2.raw.FPDF_PAGEOBJ_IMAGE: 0, pypdfium2.raw.FPDF_PAGEOBJ_PATH: 0}
    for page in pdf:
        for one in page.get_objects(max_depth=6):
            if one.type in kinds:
                kinds[one.type] += 1
    assert kinds[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE] == 0
    assert kinds[pypdfium2.raw.FPDF_PAGEOBJ_PATH] > 500


def picture_of(page: pypdfium2.PdfPage) -> Any:
    bitmap = page.render(scale=0.5, grayscale=True).to_numpy()
    return bitmap.reshape(bitmap.shape[0], bitmap.shape[1])


def white_of(page: pypdfium2.PdfPage) -> float:
    """The share of a sheet that is white above its foot, from what stands lowest."""
    grey = picture_of(page)
    body = grey[: round(len(grey) * (297 - 16) / 297)]
    marked = [place for place, line in enumerate(body) if (line < 235).any()]
    return 1 - (marked[-1] if marked else 0) / len(body)


def test_no_sheet_is_blank_below_or_cut_off(pdf: pypdfium2.PdfDocument) -> None:
    """Each sheet as a picture: its margins stay white, and but for the last its lower half does not."""
    pages = list(pdf)
    assert [(place, round(white_of(page), 2)) for place, page in enumerate(pages[:-1], 1) if white_of(page) > MOST_WHITE] == []
    for place, page in enumerate(pages):
        grey = picture_of(page)
        margin = round(12 / 25.4 * 72 * 0.5)
        assert (grey < 200).sum() > 200, place
        assert grey[:, :margin].min() > 200, place
        assert grey[:, -margin:].min() > 200, place
        assert grey[:margin].min() > 200, place


def test_white_is_measured(folder: Path) -> None:
    """A sheet with one line at its top is blank, one with a line at its foot is not."""
    sheet = '<style>@page{{size:A4;margin:15mm}}</style><p style="margin-top:{}mm">x</p>'

    def printed(top: int) -> bytes:
        with open_press() as press:
            return press.print_pdf(sheet.format(top))

    whites = [white_of(pypdfium2.PdfDocument(apart(printed, top))[0]) for top in (0, 240)]
    assert whites[0] > 0.9 and whites[1] < 0.1


def test_what_cannot_be_written_is_told(asker: Asker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(UsageError, match=r"ends in \.html or \.pdf"):
        written(asker, tmp_path / "q1.docx")
    with pytest.raises(TooFewError):
        written(asker, tmp_path / "none.html", Selection(date_from=date(1999, 1, 1), date_to=date(1999, 1, 2)))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(ReportError, match="needs Chromium"):
        written(asker, tmp_path / "q1.pdf")
    assert not list(tmp_path.iterdir())


def test_without_chromium_the_html_tells_its_charts_in_words(
    asker: Asker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    written(asker, tmp_path / "short.html", short=True)
    told = (tmp_path / "short.html").read_text(encoding="utf-8")
    assert "<svg" not in told
    assert "Charts are told in words here. The report needs Chromium" in plain(told)
    assert len(re.findall(r'<p class="chart-words">[^<]{40,}</p>', told)) >= 4
    client = create_app(asker).server.test_client()
    assert client.get("/download/short.html").status_code == 200
    refused = client.get("/download/short.pdf")
    assert refused.status_code == 503 and "An HTML report" in refused.get_data(as_text=True)


def test_too_few_are_told_section_by_section(asker: Asker, tmp_path: Path) -> None:
    few = Selection(date_from=date(2026, 3, 2), date_to=date(2026, 3, 3))
    apart(written, asker, tmp_path / "few.html", few)
    text = (tmp_path / "few.html").read_text(encoding="utf-8")
    assert "not enough yet" in text.lower()


def test_the_dashboard_makes_both(asker: Asker) -> None:
    client = create_app(asker, prefix="/s/").server.test_client()
    words = "?from=2026-01-01&to=2026-03-31"
    made = apart(client.get, f"/s/download/short.pdf{words}")
    assert (made.status_code, made.mimetype) == (200, "application/pdf")
    assert made.headers["Content-Disposition"] == 'attachment; filename="short.pdf"'
    short_one = pypdfium2.PdfDocument(made.data)
    assert len(short_one) == 2 and "1 Jan 2026 to 31 Mar 2026" in text_of_pdf(short_one)
    full = apart(client.get, f"/s/download/report.html{words}")
    assert full.status_code == 200 and "The full report" in full.get_data(as_text=True)
    assert client.get("/s/download/short.pdf?weather=fine").status_code == 400
