"""Whether the rig still measures the same: the sentences, a chart a studio, and the same numbers as tables."""

from collections.abc import Mapping
from typing import Any, Final

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.entering import task_form
from dashboard.components.notes import method
from dashboard.components.page import Desk
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.names import plain
from dashboard.figures.rig import KNEES, SIGNS, alternative, dated, rig_figure, title
from dashboard.figures.theme import day, interval, number
from dashboard.pages.data import ids
from dashboard.pages.data.sections import SELECTED, titled
from dashboard.questions.data.answers_rig import Rig
from dashboard.questions.selection.selection import Selection
from shared.rig.findings import RigFinding, in_short

# Further studios stand in the table alone.
STUDIOS_SHOWN: Final = 6
_FINDINGS: Final = [
    Column("Studio", lambda row: row.studio),
    Column("What", lambda row: plain(row.kind).capitalize()),
    Column("Of", lambda row: row.quantity.capitalize()),
    Column("Since", lambda row: day(row.since) if row.begins else "all fits", ("since",)),
    Column("Until", lambda row: day(row.until), ("until",)),
    Column("In words", lambda row: row.words, wide=True),
]


def _months(level: str) -> list[Column]:
    return [
        Column("Month", lambda row: f"{row.month:%B %Y}"),
        Column("Studio", lambda row: row.studio),
        Column("Tilt at arrival", lambda row: KNEES[row.knees]),
        Column("Mean", lambda row: number(row.estimate, "deg"), ("estimate",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, "deg"), ("low", "high"), numeric=True),
        Column("Fits", lambda row: number(row.n_fits, "count"), ("n_fits",), numeric=True),
    ]


def rig(desk: Desk, selection: Selection, answer: Rig, text: Mapping[str, tuple[str, ...]], theme: str | None) -> list[Any]:
    """The sentence first, then a chart for each studio, those of which something was found first."""
    level = number(desk.level, "share")
    with_findings = [finding.studio for finding in answer.findings]
    studios = sorted({row.studio for row in answer.months}, key=lambda studio: (studio not in with_findings, studio))
    drawn_studios = studios[:STUDIOS_SHOWN]
    return [
        *titled("Does the rig still measure the same?", SELECTED),
        _found(desk, answer),
        *(paragraphs(text["rig_found"]) if answer.findings else []),
        _marks() if drawn_studios else None,
        html.Div([_panel(studio, answer, theme) for studio in drawn_studios], className="panels is-double"),
        reading(*paragraphs(text["rig"], level=level)),
        _findings(answer) if answer.findings else None,
        html.Details(
            [
                html.Summary("Tilt at arrival by month"),
                table(
                    "Tilt at arrival by month, signed",
                    _months(level),
                    answer.months,
                    table_id=ids.RIG_TABLE,
                ),
            ],
            className="more",
        ),
        method(answer, paragraphs(text["rig_method"]), what="what is found of the rig"),
    ]


def _found(desk: Desk, answer: Rig) -> html.P | html.Ul:
    if not answer.findings:
        return html.P(answer.headline)
    return html.Ul([html.Li([finding.words, _task(desk, finding)]) for finding in answer.findings])


def _task(desk: Desk, finding: RigFinding) -> html.Div | None:
    return task_form(desk, "rig", finding.key, f"on {finding.quantity} in {finding.studio}")


def _findings(answer: Rig) -> html.Details:
    words = "What was found of the rigs, as a table"
    return html.Details([html.Summary(words), table(words, _FINDINGS, answer.findings)], className="more")


def _marks() -> html.Ul:
    return html.Ul(
        [
            html.Li([html.Span(sign, className="sign", **{"aria-hidden": "true"}), f" {KNEES[knees]}"])
            for knees, sign in SIGNS.items()
        ],
        className="marks-key",
    )


def _panel(studio: str, answer: Rig, theme: str | None) -> html.Div:
    months = [row for row in answer.months if row.studio == studio]
    findings = [finding for finding in answer.findings if finding.studio == studio]
    lettered = [
        html.Li([html.Strong(letter), f" {day(finding.since)}: {in_short(finding)}"]) for letter, finding in dated(findings)
    ]
    return html.Div(
        [
            chart(
                rig_figure(months, findings, theme),
                title=title(studio, months, findings),
                alternative=alternative(studio, months, findings),
                name=f"rig-{studio}",
                table_id=ids.RIG_TABLE,
            ),
            html.Ul(lettered, className="dated-notes") if lettered else None,
        ]
    )
