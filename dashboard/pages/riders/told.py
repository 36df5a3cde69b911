"""What every view of one rider shares: the answer, which fit of it is told, and the ways to the other fits."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.choices import choice, choices
from dashboard.components.page import Desk, Show
from dashboard.components.text import paragraphs, read_text
from dashboard.figures.names import plain
from dashboard.figures.theme import day, number
from dashboard.questions.riders.answers_riders import FitRow, RiderTimeline
from dashboard.questions.riders.riders_told import BECAME_WORDS, VISITS
from dashboard.questions.selection.selection import Selection

PATH: Final = "riders"
FITS_PATH: Final = "fit-by-fit"
TEXT: Final = read_text(Path(__file__).with_name("text.md"))
_OF_A_FIT: Final = ("captures", "knees", "exams", "ratings", "bike", "follow_ups", "look_at")


@dataclass(frozen=True)
class Told:
    """One rider, and the fit that is told: the one named in the address, else the last that asks for a follow-up."""

    desk: Desk
    selection: Selection
    page_words: Mapping[str, str]
    answer: RiderTimeline
    theme: str | None

    @property
    def fit(self) -> FitRow:
        by_id = {row.session_id: row for row in self.answer.fits}
        return by_id.get(self.page_words.get("fit", ""), by_id[self.answer.told_id])

    @property
    def is_missing(self) -> bool:
        """Whether the address names a fit that is not among those selected."""
        return self.page_words.get("fit") not in (None, self.fit.session_id)

    def own(self) -> dict[str, list[Any]]:
        """The rows of each list that belong to the fit."""
        return {
            name: [row for row in getattr(self.answer, name) if row.session_id == self.fit.session_id] for name in _OF_A_FIT
        }

    def words(self, passage: str, **values: object) -> list[html.P]:
        return paragraphs(TEXT[passage], **values)

    def address(self, view: str = "", fit: str | None = None) -> str:
        """The address of a view of this rider, on this fit or another."""
        words = {"fit": fit or self.page_words.get("fit", "")}
        path = f"{PATH}/{view}" if view else PATH
        return self.desk.addresses.page(path, self.selection.query(), words if words["fit"] else None)

    def fit_choice(self, view: str) -> html.Nav | None:
        """A link to each fit on the same view, that one marked which is told; none where there is one fit only."""
        if not self.answer.fits[1:]:
            return None
        links = (
            choice(_visit(row), self.address(view, row.session_id), is_shown=row.session_id == self.fit.session_id)
            for row in self.answer.fits
        )
        return choices("Fits of this rider", "fit", links)

    def fit_list(self) -> html.Nav:
        """Every fit with what became of it, the one marked that is told; each leads to its own sentence."""
        items = []
        for row in self.answer.fits:
            end = BECAME_WORDS.get(row.became or "", "")
            words: Any = _visit(row) + (f": {end}" if end else "")
            is_told = row.session_id == self.fit.session_id
            link = words if is_told else dcc.Link(words, href=self.address("", row.session_id))
            items.append(html.Li(html.Strong(link, **{"aria-current": "true"}) if is_told else link))
        return html.Nav([html.H2("Fits"), html.Ul(items)], className="fit-list", **{"aria-label": "Fits of this rider"})

    def facts(self) -> str:
        """What else is known of the fit: where, who, on what."""
        fit = self.fit
        facts = [
            f"session {fit.session_id}",
            f"studio {fit.studio_id}",
            f"fitter {fit.fitter_id}",
            f"riding: {self.answer.riding or 'not told'}",
            f"{plain(fit.bike_kind)} bicycle" if fit.bike_kind else "",
            f"sit bones {number(fit.sit_bone_width_mm, 'mm')} apart" if fit.sit_bone_width_mm else "",
            f"saddle {number(fit.saddle_width_mm, 'mm')} wide" if fit.saddle_width_mm else "",
            f"saddle {fit.saddle_condition}" if fit.saddle_condition else "",
        ]
        sentence = ", ".join(fact for fact in facts if fact)
        return f"{sentence[0].upper()}{sentence[1:]}."


def _visit(row: FitRow) -> str:
    return f"{day(row.session_date)}, {VISITS[row.visit_kind]}"


def showing(desk: Desk, place: str, view: str, show: Callable[[Told], Any]) -> dict[str, Show]:
    """The place of a view that tells of one rider, below the choice of the fit; without a rider it says how to choose one."""

    def fill(asked: View, theme: str | None) -> Any:
        answer: Any = desk.asker.ask("riders", asked.selection)
        if not isinstance(answer, RiderTimeline):
            return _choose_first(desk, asked.selection)
        told = Told(desk, asked.selection, asked.page_words, answer, theme)
        # Where every fit stands in a table of its own, its links choose.
        return [None if view == FITS_PATH else told.fit_choice(view), *show(told)]

    return {place: fill}


def _choose_first(desk: Desk, selection: Selection) -> html.P:
    query = replace(selection, rider=()).query()
    find, every = (dcc.Link(words, href=desk.addresses.page(path, query)) for words, path in _WAYS)
    return html.P(["This view tells of one rider: ", find, " by the id, or choose one of ", every, "."])


_WAYS: Final = (("find a rider", PATH), ("all riders", f"{PATH}/all"))
