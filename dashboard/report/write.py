"""Writes the report: one HTML file that needs nothing else, or a PDF of the same."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader
from markupsafe import Markup

from dashboard.components.address import Addresses
from dashboard.components.page import Desk
from dashboard.figures.theme import day, number, style_sheet
from dashboard.figures.typeface import inlined
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL
from dashboard.questions.selection.selection import Selection
from dashboard.report.browser import open_press
from dashboard.report.contents import Section, sections
from dashboard.report.markup import figures_in, markup
from etl.keeping.leftovers import working_elsewhere
from shared.errors import UsageError
from shared.files import put_in_place

TITLE: Final = "How the studio is doing"
_HERE: Final = Path(__file__).parent
_SCREENS: Final = _HERE.parent / "assets"
_PAGES: Final = Environment(loader=FileSystemLoader(_HERE), autoescape=True)
# What is told while the sections are made: seven sentences, six sections, the drawings, the file.
_STEPS: Final = 15
Progress = Callable[[int, int, str], None]


def write_report(asker: Asker, selection: Selection, out: Path, *, with_fitters: bool, progress: Progress) -> None:
    """Writes `out`, whole or not at all; its ending says which form.

    Raises UsageError for another ending, TooFewError where the selection is empty, ReportError without a browser.
    """
    if out.suffix.lower() not in (".html", ".pdf"):
        raise UsageError(f"--out: found {out.name!r}, expected a name that ends in .html or .pdf.")
    done = 0

    def tell_step(words: str) -> None:
        nonlocal done
        progress(done, _STEPS, words)
        done += 1

    desk = Desk(AskedBy(asker, lambda: LOCAL), Addresses("/"))
    studio: Any = asker.ask("studio", selection)
    with open_press() as press:
        made = list(sections(desk, selection, with_fitters=with_fitters, told=tell_step))
        tell_step("drawing")
        drawings = iter(list(press.draw([drawn for section in made for drawn in figures_in(section.nodes)])))
        bodies = [markup(section.nodes, drawings) for section in made]
        html = _document(desk, selection, studio, made, bodies)
        tell_step(f"writing {out.name}")
        out.parent.mkdir(parents=True, exist_ok=True)
        with working_elsewhere(asker.path, out.parent) as folder:
            written = folder / out.name
            if out.suffix.lower() == ".pdf":
                press.print_pdf(html, written)
            else:
                written.write_text(html, encoding="utf-8")
            put_in_place(written, out)


def _document(desk: Desk, selection: Selection, studio: Any, made: list[Section], bodies: list[Markup]) -> str:
    template_sections = [
        {"anchor": section.anchor, "name": section.name, "question": section.question, "body": body}
        for section, body in zip(made, bodies, strict=True)
    ]
    age = desk.asker.freshness()
    sheets = (_SCREENS / "style.css", *sorted(_SCREENS.glob("page-*.css")), _HERE / "report.css")
    style = Markup("\n".join((style_sheet(inlined()), *(sheet.read_text(encoding="utf-8") for sheet in sheets))))
    return _PAGES.get_template("document.html").render(
        title=TITLE,
        period=_period(selection, studio),
        selected=f"{studio.selection_words}, {studio.n_riders:,} riders.",
        sections=template_sections,
        style=style,
        made=day(age.today),
        age=age if age.told else None,
        as_of=day(studio.as_of),
        intervals=f"Intervals are at {number(desk.level, 'share')}.",
    )


def _period(selection: Selection, studio: Any) -> str:
    first, last = selection.date_from, selection.date_to
    if first and last:
        return f"{day(first)} to {day(last)}"
    if first:
        return f"From {day(first)}"
    return f"Up to {day(last)}" if last else f"All fits up to {day(studio.as_of)}"
