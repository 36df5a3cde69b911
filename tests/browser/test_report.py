"""The report in both forms: the figures of the screens, one file without anything from elsewhere, pages that can be read."""

import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pypdfium2
import pypdfium2.raw
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from dashboard.figures.theme import interval, number
from dashboard.questions.door.asking import Asker
from dashboard.questions.effects.answers_effects import Effects
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_periods import Periods
from dashboard.questions.studio.answers_studio import Studio
from dashboard.report.browser import open_press
from dashboard.report.write import write_report
from shared.errors import ReportError, TooFewError, UsageError

pytestmark = pytest.mark.browser

QUARTER = Selection(date_from=date(2026, 1, 1), date_to=date(2026, 3, 31))
SECTIONS = ("In short", "Supports", "Symmetry", "Returns", "Trends", "Fitters", "Data quality", "Methods and cautions")


def written(asker: Asker, out: Path, selection: Selection = QUARTER, *, with_fitters: bool = False) -> list[str]:
    """Writes the report; gives the steps that were told."""
    steps: list[str] = []

    def told(done: int, total: int, words: str) -> None:
        assert done == len(steps) < total
        steps.append(words)

    write_report(asker, selection, out, with_fitters=with_fitters, progress=told)
    return steps


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("report")


# Playwright runs once in a thread, and the tests' own browser has this one.
@pytest.fixture(scope="module")
def html(asker: Asker, folder: Path) -> str:
    with ThreadPoolExecutor(1) as pool:
        steps = pool.submit(written, asker, folder / "q1.html").result()
    assert steps[-1] == "writing q1.html"
    assert len(steps) == 15
    return (folder / "q1.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def pdf(asker: Asker, folder: Path) -> Iterator[pypdfium2.PdfDocument]:
    with ThreadPoolExecutor(1) as pool:
        pool.submit(written, asker, folder / "q1.pdf", with_fitters=True).result()
    document = pypdfium2.PdfDocument(folder / "q1.pdf")
    yield document
    document.close()


def plain(text: str) -> str:
    """Text with every kind of blank as one space."""
    return re.sub(r"\s+", " ", text)


def test_every_section_and_caution_is_there(html: str) -> None:
    for name in SECTIONS:
        assert f"<h2>{name}</h2>" in html
    assert "refer to a licensed clinician" in html
    assert "1 Jan 2026 to 31 Mar 2026" in html


def test_it_needs_nothing_else(html: str, folder: Path, browser: Browser) -> None:
    assert not re.search(r"<script|<link|<img|<button|<input|url\((?!(&quot;|[\"\x27])?#|data:font/woff2)|@import", html)
    page = browser.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto((folder / "q1.html").as_uri())
    assert asked == [(folder / "q1.html").as_uri()]
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
    text = plain(re.sub(r"<[^>]+>", " ", html))
    studio, effects, periods = (asker.ask(question, QUARTER) for question in ("studio", "effects", "periods"))
    assert isinstance(studio, Studio)
    assert isinstance(effects, Effects)
    assert isinstance(periods, Periods)
    for figure in studio.figures:
        if figure.figure != "return_rate":
            assert plain(figure.words) in text
    for row in effects.effects:
        if row.outcome == "tilt" and row.pooled is not None:
            assert plain(number(row.pooled, row.unit, effect=True)) in text
            assert plain(interval(row.told_low, row.told_high, row.unit, effect=True)) in text
    for period in periods.periods:
        assert plain(number(period.estimate, period.unit)) in text


def test_fitters_outcomes_are_for_the_head_fitter_alone(html: str, pdf: pypdfium2.PdfDocument) -> None:
    words = "what came of it, beside what was to be expected, is for the head fitter"
    assert words in html
    assert "data-chart" not in html
    text = plain(" ".join(page.get_textpage().get_text_range() for page in pdf))
    assert words not in text
    assert "Who needs a second pair of eyes?" in text


def test_the_pdf_is_a4_tagged_numbered_and_its_text_can_be_selected(pdf: pypdfium2.PdfDocument, folder: Path) -> None:
    for page in pdf:
        assert page.get_size() == pytest.approx((595.3, 841.9), abs=1)
    assert pypdfium2.raw.FPDFCatalog_IsTagged(pdf)
    last = plain(pdf[len(pdf) - 1].get_textpage().get_text_range())
    assert f"Page {len(pdf)} of {len(pdf)}" in last
    assert [bookmark.get_title() for bookmark in pdf.get_toc() if bookmark.level == 1] == list(SECTIONS)
    supports = plain(" ".join(pdf[place].get_textpage().get_text_range() for place in range(2, 6)))
    assert "Medium insole" in supports


def test_charts_are_lines_and_not_pictures(pdf: pypdfium2.PdfDocument) -> None:
    kinds = {pypdfium2.raw.FPDF_PAGEOBJ_IMAGE: 0, pypdfium2.raw.FPDF_PAGEOBJ_PATH: 0}
    for page in pdf:
        for one in page.get_objects(max_depth=6):
            if one.type in kinds:
                kinds[one.type] += 1
    assert kinds[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE] == 0
    assert kinds[pypdfium2.raw.FPDF_PAGEOBJ_PATH] > 500


def test_no_page_is_empty_or_cut_off(pdf: pypdfium2.PdfDocument) -> None:
    """Each page as a picture: something stands on it, and its margins stay white."""
    for place, page in enumerate(pdf):
        bitmap = page.render(scale=0.5, grayscale=True).to_numpy()
        grey = bitmap.reshape(bitmap.shape[0], bitmap.shape[1])
        assert (grey < 200).sum() > 200, place
        margin = round(12 / 25.4 * 72 * 0.5)
        assert grey[:, :margin].min() > 200, place
        assert grey[:, -margin:].min() > 200, place
        assert grey[:margin].min() > 200, place


def test_what_cannot_be_written_is_told(asker: Asker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(UsageError, match=r"ends in \.html or \.pdf"):
        written(asker, tmp_path / "q1.docx")
    with pytest.raises(TooFewError):
        written(asker, tmp_path / "none.html", Selection(date_from=date(1999, 1, 1), date_to=date(1999, 1, 2)))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(ReportError, match="needs Chromium"), open_press():
        pass
    assert not list(tmp_path.iterdir())


def test_too_few_are_told_section_by_section(asker: Asker, tmp_path: Path) -> None:
    few = Selection(date_from=date(2026, 3, 2), date_to=date(2026, 3, 3))
    with ThreadPoolExecutor(1) as pool:
        pool.submit(written, asker, tmp_path / "few.html", few).result()
    text = (tmp_path / "few.html").read_text(encoding="utf-8")
    assert "not enough yet" in text.lower()
