"""Makes the short report, the full one or the meeting sheet: one HTML file that needs nothing else, or a PDF of the same."""

from collections.abc import Callable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Literal

from jinja2 import Environment, FileSystemLoader
from markupsafe import Markup

from dashboard.chromium import missing
from dashboard.components.address import Addresses
from dashboard.components.notes import CAUTION
from dashboard.components.page import Desk
from dashboard.figures.theme import day, number, style_sheet
from dashboard.figures.typeface import inlined
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL
from dashboard.questions.selection.selection import Selection
from dashboard.report.browser import open_press
from dashboard.report.contents import sections
from dashboard.report.markup import drawings_in, markup
from dashboard.report.meeting import NAMES, meeting_sheet
from dashboard.report.paper import on_paper
from dashboard.report.short import ANSWERED, TO_DO, Section, short_report
from etl.keeping.leftovers import working_elsewhere
from shared.errors import UsageError
from shared.files import put_in_place

TITLE: Final = "How the studio is doing"
_HERE: Final = Path(__file__).parent
_SCREENS: Final = _HERE.parent / "assets"
_PAGES: Final = Environment(loader=FileSystemLoader(_HERE), autoescape=True)
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Wanted:
    """What is to be made. `short`: the two sheets of the short report alone, without the full one behind them."""

    form: Literal["html", "pdf"]
    short: bool = False
    with_fitters: bool = False
    with_riders: bool = False

    @property
    def n_steps(self) -> int:
        """How many steps are told: a page each, drawing, writing."""
        answers = len(ANSWERED) + self.with_fitters
        return answers + 2 + (0 if self.short else len(ANSWERED) + 2)


def write_report(asker: Asker, selection: Selection, out: Path, wanted: Wanted, progress: Progress) -> None:
    """Writes `out`, whole or not at all. Raises as `made_report` does."""
    _put(asker, out, made_report(Desk(AskedBy(asker, lambda: LOCAL), Addresses("/")), selection, wanted, progress))


def _put(asker: Asker, out: Path, content: bytes) -> None:
    """Puts a file in place, whole or not at all."""
    out.parent.mkdir(parents=True, exist_ok=True)
    with working_elsewhere(asker.path, out.parent) as folder:
        written = folder / out.name
        written.write_bytes(content)
        put_in_place(written, out)


def write_meeting(asker: Asker, selection: Selection, out: Path, *, with_ids: bool) -> str:
    """Writes the meeting sheet, whole or not at all; gives whom it names. Raises as `made_meeting` does."""
    desk = Desk(AskedBy(asker, lambda: LOCAL), Addresses("/"))
    _put(asker, out, made_meeting(desk, selection, form_of(out.name), with_ids=with_ids))
    return NAMES[with_ids]


def made_meeting(desk: Desk, selection: Selection, form: Literal["html", "pdf"], *, with_ids: bool) -> bytes:
    """The meeting sheet. Raises TooFewError where there is no fit, ReportError for a PDF without a browser."""
    sheet = meeting_sheet(desk, selection, with_ids=with_ids)
    why_in_words = missing() if form == "html" else ""
    bodies = [on_paper(body, with_riders=with_ids, folded=False) for _, body in sheet.blocks]
    with nullcontext() if why_in_words else open_press() as press:
        asked = list(drawings_in(bodies))
        drawn = iter(press.draw(asked) if press else [_in_words(one.words) for one in asked])
        html = _PAGES.get_template("meeting.html").render(
            sheet=sheet,
            blocks=[(name, markup(body, drawn)) for (name, _), body in zip(sheet.blocks, bodies, strict=True)],
            style=_style(_HERE / "meeting.css"),
            cautions=" ".join(CAUTION[:2]),
            why_in_words=why_in_words,
        )
        return press.print_pdf(html) if press and form == "pdf" else html.encode()


def whom_it_names(selection: Selection, wanted: Wanted) -> str:
    """Whether single riders stand in it, as a sentence."""
    if selection.rider:
        return "It names riders by the studio's own ids: keep it like the warehouse."
    if wanted.with_riders and not wanted.short:
        return "The full report names riders by the studio's own ids: keep it like the warehouse."
    return "It names no rider."


def form_of(name: str) -> Literal["html", "pdf"]:
    """The form that a file's ending asks for. Raises UsageError for another one."""
    match Path(name).suffix.lower():
        case ".html":
            return "html"
        case ".pdf":
            return "pdf"
    raise UsageError(f"--out: found {name!r}, expected a name that ends in .html or .pdf.")


def made_report(desk: Desk, selection: Selection, wanted: Wanted, progress: Progress) -> bytes:
    """The report of what the desk's reader sees.

    Raises TooFewError where the selection is empty, ReportError for a PDF without a browser; HTML then tells charts in words.
    """
    desk = replace(desk, with_names=desk.with_names and wanted.with_fitters)
    steps = iter(range(wanted.n_steps))

    def tell_step(words: str) -> None:
        progress(next(steps), wanted.n_steps, words)

    studio: Any = desk.asker.ask("studio", selection)
    why_in_words = missing() if wanted.form == "html" else ""
    with nullcontext() if why_in_words else open_press() as press:
        made = list(_sections(desk, selection, wanted, tell_step))
        tell_step("drawing")
        asked = [drawing for section in made for drawing in drawings_in(section.nodes)]
        drawn = list(press.draw(asked)) if press else [_in_words(one.words) for one in asked]
        bodies = _bodies(made, iter(drawn))
        html = _document(desk, selection, studio, made, bodies, wanted, why_in_words)
        tell_step("writing")
        return press.print_pdf(html) if press and wanted.form == "pdf" else html.encode()


def _sections(desk: Desk, selection: Selection, wanted: Wanted, told: Callable[[str], None]) -> Iterator[Section]:
    if wanted.short:
        return short_report(desk, selection, with_fitters=wanted.with_fitters, told=told)
    return sections(desk, selection, with_fitters=wanted.with_fitters, with_riders=wanted.with_riders, told=told)


def _bodies(made: list[Section], drawn: Iterator[str]) -> list[Markup]:
    return [markup(section.nodes, drawn) for section in made]


def _in_words(words: str) -> str:
    return str(Markup('<p class="chart-words">{}</p>').format(words))


def _document(
    desk: Desk,
    selection: Selection,
    studio: Any,
    made: list[Section],
    bodies: list[Markup],
    wanted: Wanted,
    why_in_words: str,
) -> str:
    told = [
        {"anchor": section.anchor, "name": section.name, "question": section.question, "body": body}
        for section, body in zip(made, bodies, strict=True)
    ]
    n_short = next(place for place, section in enumerate(made, start=1) if section.anchor == TO_DO)
    age = desk.asker.freshness()
    return _PAGES.get_template("document.html").render(
        title=TITLE,
        period=_period(selection, studio),
        selected=f"{studio.selection_words}, {studio.n_riders:,} riders.",
        short=told[:n_short],
        sections=told[n_short:],
        style=_style(),
        made=day(age.today),
        age=age if age.told else None,
        as_of=day(studio.as_of),
        intervals=f"Intervals are at {number(desk.level, 'share')}.",
        whom_it_names=whom_it_names(selection, wanted),
        # Two answers with their pictures take a sheet, and fill it.
        is_whole=all(any(drawings_in(section.nodes)) for section in made[: len(ANSWERED)]) and not why_in_words,
        why_in_words=why_in_words,
        cautions=CAUTION,
    )


def _style(*more: Path) -> Markup:
    """The style sheets of the screens, and what paper adds."""
    sheets = (_SCREENS / "style.css", *sorted(_SCREENS.glob("page-*.css")), _HERE / "report.css", *more)
    return Markup("\n".join((style_sheet(inlined()), *(sheet.read_text(encoding="utf-8") for sheet in sheets))))


def _period(selection: Selection, studio: Any) -> str:
    first, last = selection.date_from, selection.date_to
    if first and last:
        return f"{day(first)} to {day(last)}"
    if first:
        return f"From {day(first)}"
    return f"Up to {day(last)}" if last else f"All fits up to {day(studio.as_of)}"
