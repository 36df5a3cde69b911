"""What stands beside the effects: where the two estimates disagree, distance from neutral, responders, single riders."""

from collections.abc import Sequence
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk
from dashboard.components.table import Column, csv_link, table
from dashboard.components.text import paragraphs
from dashboard.figures.effects import estimates_agree, estimates_differ, in_order
from dashboard.figures.names import MAIN_OUTCOMES, OUTCOMES, SUPPORTS
from dashboard.figures.neutral import alternative, finding, neutral_chart
from dashboard.figures.theme import number
from dashboard.pages.supports import ids
from dashboard.pages.supports.choices import outcome_address
from dashboard.pages.supports.grid import Cells, cells_of, grid_table
from dashboard.pages.supports.tables import influence_columns, neutral_columns, responder_columns
from dashboard.questions.effects.answers_effects import Effects, InfluenceRow
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection

Text = dict[str, tuple[str, ...]]
_LARGER = {"within": "within-knee", "pooled": "pooled", "opposite": "opposite directions"}


def further(desk: Desk, selection: Selection, answer: Effects, outcome: str | None, text: Text, theme: str | None) -> list[Any]:
    """The four sections, each empty where the answer holds nothing of it, and how the page is computed."""
    outcomes = (outcome,) if outcome else MAIN_OUTCOMES
    return [
        *_disagreements(desk, selection, answer, outcomes, text),
        *_neutral(desk, selection, answer, text, theme),
        *_responders(desk, selection, answer, text),
        *_influence(desk, selection, answer, outcomes, text),
        method(answer, paragraphs(text["method"])),
        data_note(answer),
    ]


def _disagreements(desk: Desk, selection: Selection, answer: Effects, outcomes: Sequence[str], text: Text) -> list[Any]:
    estimated = [row for outcome in outcomes for row in in_order(answer.effects, outcome) if row.pooled is not None]
    if not estimated:
        return []
    apart = [row for row in estimated if estimates_differ(row)]
    if not apart:
        return [html.H2(_no_disagreement(estimated), className="section-title"), *paragraphs(text["agree"])]
    title = f"The two estimates disagree in {len(apart)} of {counted(len(estimated), 'figure')}"
    return [
        html.H2(title, className="section-title", id="disagree"),
        *paragraphs(text["disagree"]),
        table("Where they disagree", _disagreement_columns(desk, selection), apart),
        reading(*(part for kind in dict.fromkeys(larger(row) for row in apart) for part in paragraphs(text[kind]))),
        csv_link(desk.csv("effects", "effects", selection), "every outcome and support"),
    ]


def _no_disagreement(estimated: Sequence[EffectRow]) -> str:
    """Whether the estimates are known to agree, or only not found to differ."""
    known = sum(estimates_agree(row) for row in estimated)
    if known == len(estimated):
        return f"The two estimates agree in {'all ' if known > 1 else ''}{counted(known, 'figure')}"
    where = f"in {len(estimated) - known} of {counted(len(estimated), 'figure')} little could be"
    return f"No disagreement of the two estimates found, and {where}"


def _disagreement_columns(desk: Desk, selection: Selection) -> list[Column]:
    return [
        Column("Support", lambda row: SUPPORTS[row.support]),
        Column(
            "Outcome",
            lambda row: dcc.Link(OUTCOMES[row.outcome].name, href=outcome_address(desk, selection, row.outcome)),
        ),
        Column("Pooled", lambda row: number(row.pooled, row.unit, effect=True), ("pooled",), numeric=True),
        Column("Within knee", lambda row: number(row.within, row.unit, effect=True), ("within",), numeric=True),
        Column("The larger", lambda row: _LARGER[larger(row)]),
        Column("Changes", lambda row: number(row.n_changes, "count"), ("n_changes",), numeric=True),
        Column("Riders", lambda row: number(row.n_riders, "count"), ("n_riders",), numeric=True),
    ]


def larger(row: EffectRow) -> str:
    """Which estimate is the larger, which hints at where the disagreement comes from: within, pooled or opposite."""
    pooled, within = row.pooled or 0.0, row.within or 0.0
    if pooled * within < 0:
        return "opposite"
    return "within" if abs(within) > abs(pooled) else "pooled"


def _neutral(desk: Desk, selection: Selection, answer: Effects, text: Text, theme: str | None) -> list[Any]:
    if not answer.off_neutral:
        return []
    level = number(desk.level, "share")
    cells = cells_of(answer.effects, "off_neutral", "arrival_direction")
    return [
        html.H2("Nearer to neutral, by where the knee stood at arrival", className="section-title", id="neutral"),
        *paragraphs(text["neutral"]),
        _neutral_key(),
        html.Div(
            chart(
                neutral_chart(answer.off_neutral, theme),
                title=finding(answer.off_neutral),
                alternative=alternative(answer.off_neutral),
                name="off-neutral",
                table_id=ids.NEUTRAL,
            ),
            className="panels is-single neutral",
        ),
        reading(*paragraphs(text["neutral_reading"], level=level)),
        table(
            "Change in the distance from neutral, arrival to departure",
            neutral_columns(level),
            answer.off_neutral,
            csv=desk.csv("effects", "off_neutral", selection),
            table_id=ids.NEUTRAL,
        ),
        *(_by_support(desk, selection, cells, text) if cells else []),
    ]


def _neutral_key() -> html.Ul:
    marks = (("net", "beyond the noise, its interval"), ("measured", "as measured"), ("noise", "what noise alone would do"))
    return html.Ul(
        [html.Li([html.Span(className=f"mark mark-{mark}", **{"aria-hidden": "true"}), words]) for mark, words in marks],
        className="marks-key",
    )


def _by_support(desk: Desk, selection: Selection, cells: Cells, text: Text) -> list[Any]:
    """How each support moved the distance from neutral, by arrival direction."""
    return [
        html.Div(paragraphs(text["neutral_grid"]), className="table"),
        grid_table(cells, "off_neutral", "arrival_direction"),
        csv_link(desk.csv("effects", "effects", selection), "every outcome and support, off neutral by arrival direction"),
    ]


def _responders(desk: Desk, selection: Selection, answer: Effects, text: Text) -> list[Any]:
    if not answer.responders:
        return []
    level = number(desk.level, "share")
    first = next((row for row in answer.responders if row.response == "better"), answer.responders[0])
    return [
        html.H2("How many knees moved by more than the noise", className="section-title", id="responders"),
        html.P(first.words, className="section-lead"),
        table(
            "Knees better, unchanged and worse at departure",
            responder_columns(level),
            answer.responders,
            csv=desk.csv("effects", "responders", selection),
        ),
        reading(*paragraphs(text["responders"])),
    ]


def _influence(desk: Desk, selection: Selection, answer: Effects, outcomes: Sequence[str], text: Text) -> list[Any]:
    rows = [row for row in answer.influence if row.outcome in outcomes]
    if not rows:
        return []
    return [
        html.H2(rests_on_one(rows), className="section-title", id="influence"),
        html.Details(
            [
                html.Summary("Each estimate with any one rider left out"),
                table(
                    "Between which values an estimate would lie",
                    influence_columns(),
                    rows,
                    csv=desk.csv("effects", "influence", selection),
                ),
            ],
            className="more",
        ),
        reading(*paragraphs(text["influence"])),
    ]


def rests_on_one(rows: Sequence[InfluenceRow]) -> str:
    """Whether any estimate would change its direction without one of the riders, pooled and within-knee ones told apart."""
    kinds = {"pooled": "pooled", "within-knee": "within"}
    turned = {name: [row for row in rows if _turns(row, estimate)] for name, estimate in kinds.items()}
    n_turned = sum(map(len, turned.values()))
    if not n_turned:
        return "No estimate would change its direction without any one rider"
    names = "; ".join(
        f"{kind}, "
        + ", ".join(f"{SUPPORTS[row.support].lower()} on {OUTCOMES[row.outcome].name.lower()}" for row in turned_rows)
        for kind, turned_rows in turned.items()
        if turned_rows
    )
    return f"One rider decides the direction of {counted(n_turned, 'estimate')}: {names}"


def _turns(row: InfluenceRow, estimate: str) -> bool:
    low, high = (getattr(row, f"{estimate}_without_{end}") for end in ("low", "high"))
    return bool(low * high <= 0)
