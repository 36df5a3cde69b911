"""What each fitter did, and whose captures scatter more: matters of working and measuring, told beside the outcomes."""

from typing import Any

from dashboard.components import html
from dashboard.components.chart import reading
from dashboard.components.columns import count, figure
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES
from dashboard.figures.theme import NOTHING, finely, number
from dashboard.pages.fitters.answer import Text
from dashboard.pages.fitters.named import Names, called, with_names
from dashboard.pages.fitters.tables import done, process_columns
from dashboard.questions.coaching.answers_fitters import Fitters
from dashboard.questions.data.answers_noise import Noise, NoiseGroupRow
from dashboard.questions.selection.selection import Selection


def what_was_done(desk: Desk, selection: Selection, answer: Fitters, names: Names, text: Text) -> list[Any]:
    """The shares of each fitter's fits in which a thing was done, and how fitters are compared."""
    level, minimum = number(desk.level, "share"), desk.asker.settings.minimum.sessions_per_fitter
    return [
        table(
            "Shares of each fitter's fits in which it was done",
            process_columns(names),
            done(answer.process),
            row_key="fitter_id",
        ),
        reading(*paragraphs(text["process"], level=level, minimum=minimum)),
        method(answer, paragraphs(text["method"]), what="the comparison"),
        data_note(answer),
    ]


def scatter(desk: Desk, selection: Selection, answer: Noise, names: Names, text: Text) -> list[Any]:
    """Each fitter's typical error of repeats beside the others'; of the chosen fitters where some are chosen."""
    rows = [row for row in answer.groups if row.group == "fitter" and (not selection.fitter or row.level in selection.fitter)]
    rows = sorted(rows, key=lambda row: (MAIN_OUTCOMES.index(row.outcome), row.level))
    if not rows:
        return []
    more, level = [row for row in rows if row.scatters_more], number(desk.level, "share")
    numbers = table("Typical error of repeat captures", columns(level, names), rows)
    return [
        html.H2(with_names(_title(rows, more), names), className="section-title", id="scatter"),
        html.Ul([html.Li(with_names(row.words, names)) for row in more], className="told-fitters") if more else None,
        reading(*paragraphs(text["scatter"], level=level, pairs=desk.asker.settings.noise.pairs_per_fitter)),
        html.Details([html.Summary("Each fitter's repeats in numbers"), numbers], className="more"),
    ]


def _title(rows: list[NoiseGroupRow], more: list[NoiseGroupRow]) -> str:
    if more:
        return f"Captures that scatter more: {', '.join(dict.fromkeys(row.level for row in more))}"
    if any(row.ratio is not None for row in rows):
        return "No fitter's captures were found to scatter more than the others'"
    return "Too few repeats to say whose captures scatter more"


def columns(level: str, names: Names) -> list[Column]:
    """Fitter, outcome, typical error, its ratio to the others', what fits are judged by, and repeats."""
    return [
        Column("Fitter", lambda row: called(row.level, names)),
        Column("Outcome", lambda row: OUTCOMES[row.outcome].name),
        Column("Typical error", lambda row: finely(row.unit, row.typical_error), ("typical_error",), numeric=True),
        Column(
            f"{level} interval",
            lambda row: finely(row.unit, row.typical_error_low, row.typical_error_high),
            ("typical_error_low", "typical_error_high"),
            numeric=True,
        ),
        Column("Times the others'", _ratio, ("ratio",), numeric=True),
        Column(f"{level} interval", _ratio_ends, ("ratio_low", "ratio_high"), numeric=True),
        figure("Fits judged by", "judged_by"),
        count("Repeats", "n_pairs"),
        count("Riders", "n_riders"),
    ]


def _ratio(row: NoiseGroupRow) -> str:
    return NOTHING if row.ratio is None else f"{row.ratio:.2f}"


def _ratio_ends(row: NoiseGroupRow) -> str:
    return NOTHING if row.ratio_low is None else f"{row.ratio_low:.2f} to {row.ratio_high:.2f}"
