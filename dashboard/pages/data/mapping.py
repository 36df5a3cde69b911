"""The mapping assistant on the page: one question at a time, with the reader's own cells beside what they would become."""

from collections.abc import Iterator
from typing import Any, Final

from dashboard.components import html
from dashboard.components.page import Desk
from dashboard.components.table import Column, table
from dashboard.figures.theme import number
from dashboard.pages.data import ids
from dashboard.web.uploads import LATER
from shared.statistics.wording import counted

_MOST_CHOICES: Final = 10
_TYPED: Final = "data-typed"
_CELLS: Final = [Column("Your cell", lambda row: row[0]), Column("Would become", lambda row: row[1] or "(empty)")]
_COLUMNS: Final = [
    Column("Table", lambda row: row.table),
    Column("Column", lambda row: row.column),
    Column("Made of", lambda row: row.made_of),
    Column("In force", lambda row: "waits for an answer" if row.waits else "yes"),
    Column("Why", lambda row: row.reason, wide=True),
]
_FIGURES: Final = [
    Column("Side", lambda row: row["side"]),
    Column("Mean tilt", lambda row: number(row["mean_tilt_deg"], "deg"), numeric=True),
    Column("Lowest", lambda row: number(row["lowest_tilt_deg"], "deg"), numeric=True),
    Column("Highest", lambda row: number(row["highest_tilt_deg"], "deg"), numeric=True),
    Column("Captures", lambda row: f"{row['n_tilts']:,}", numeric=True),
]


def proposed(desk: Desk, step: Any, token: str) -> html.Div:
    """Where the dialogue stands: the question, the first figures once nothing is missing, the ways on, the proposal folded."""
    n = len({row.table for row in step.columns})
    put_off = f", {len(step.later)} put off" if step.later else ""
    state = f"{counted(step.n_left, 'question')} left{put_off}" if step.question else f"nothing is left to ask{put_off}"
    ready = html.Button("Check these files by it", id=ids.USE_MAPPING, className="button is-strong") if n else None
    ways = html.Div([ready, html.Button("Put them aside", id=ids.ASIDE, className="button")], className="ways")
    address = f"{desk.addresses.prefix}upload/{token}/mapping.toml"
    return html.Div(
        [
            html.H3(
                f"Proposed for {counted(n, 'table')}; {state}. Nothing is loaded.", className="outcome", tabIndex=-1,
                **{"data-takes-focus": ""},
            ),
            *_question(step),
            *_later(step),
            *_waiting(step),
            *_tried(step),
            ways,
            html.P(html.A("The mapping as it stands (mapping.toml)", href=address), className="csv-line"),
            html.Details([html.Summary("All that is proposed, and why"), table("Proposed", _COLUMNS, step.columns)]),
        ],
        className="found",
    )  # fmt: skip


def _question(step: Any) -> Iterator[Any]:
    """The question, five cells beside what they would become, the reasons, a button an answer and room for another one."""
    question = step.question
    if question is None:
        return
    yield html.P(question.words, className="caution")
    if step.sample:
        yield table("Your cells, by the likely answer", _CELLS, step.sample)
    if question.reasons:
        yield html.P(f"Because: {'; '.join(question.reasons)}.", className="concerns")
    likely = [question.proposed] if question.proposed in question.choices else []
    others = [one for one in question.choices if one not in likely and one not in ("= …", "a whole number")]
    yield html.Div(
        [
            *[_answer(question.key, one, is_likely=one in likely) for one in (*likely, *others)[:_MOST_CHOICES]],
            html.Button("Ask me later", className="button", **{"data-answer": LATER, "data-key": question.key}),
        ],
        className="ways",
    )
    if others[_MOST_CHOICES:] or {"= …", "a whole number"} & set(question.choices):
        yield html.Div(
            [
                html.Label("Another answer", htmlFor=_TYPED),
                html.Textarea(id=_TYPED, rows=1, className="typed"),
                html.Button("Say it", className="button", **{"data-say": _TYPED, "data-key": question.key}),
            ],
            className="ways",
        )


def _answer(key: str, said: str, *, is_likely: bool) -> html.Button:
    words = f"{said} (likely)" if is_likely else said
    return html.Button(words, className="button", **{"data-answer": said, "data-key": key})


def _later(step: Any) -> list[Any]:
    """What was put off, of which nothing is loaded, and a way back to it."""
    if not step.later:
        return []
    told = html.Ul([html.Li(question.words) for question in step.later], className="concerns")
    again = html.Button("Ask now", id=ids.AGAIN, className="button")
    words = "Put off until you know; nothing is loaded of what is asked about:"
    return [html.P(words, className="concerns"), told, html.Div([again], className="ways")]


def _waiting(step: Any) -> list[Any]:
    if not step.waiting:
        return []
    return [html.P(f"Not loaded until their questions are answered: {', '.join(step.waiting)}.", className="concerns")]


def _tried(step: Any) -> list[Any]:
    """The first figures by the mapping, from a load of their own that is gone again."""
    tried = step.tried
    if tried is None:
        return []
    rows = ", ".join(f"{name} {n:,}" for name, n in tried.rows.items() if n)
    rejected = sum(file.rejected for file in tried.report.files)
    captures = ", ".join(
        f"{counted(row['visits'], 'visit')} with {counted(row['captures'], 'capture')}" for row in tried.captures_a_visit
    )
    return [
        table("First figures by this mapping", _FIGURES, [row for row in tried.by_side if row["n_tilts"]]),
        html.P(f"Rows: {rows}. {captures}. {counted(rejected, 'row')} rejected.", className="concerns"),
    ]
