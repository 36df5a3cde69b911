"""What the Symmetry page shows: prevalence by level, what became of it, left against right, patterns, other limits."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, headline, method, selected
from dashboard.components.page import Desk
from dashboard.components.table import csv_link, table
from dashboard.components.text import paragraphs, unbroken
from dashboard.figures import symmetry, symmetry_curve, symmetry_flow, symmetry_sides
from dashboard.figures.names import OUTCOMES, plain
from dashboard.figures.theme import number
from dashboard.pages.symmetry import ids, tables
from dashboard.pages.symmetry.patterns import flow_grid, flow_title
from dashboard.questions.selection.numbers import spoken_chance, spoken_p
from dashboard.questions.selection.selection import Selection
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry, ChangeRow, PrevalenceRow
from dashboard.questions.symmetry.answers_sides import Sides, SidesRow
from dashboard.questions.symmetry.asymmetry_rows import headline_of
from shared.settings import Settings

NAME = "Symmetry"
QUESTION = "How common is a side difference, and do we resolve it?"
PATH = "symmetry"
# The quantities that have a limit beyond which a side difference counts.
QUANTITIES: Final = ("tilt", "offset")


@dataclass(frozen=True)
class Asked:
    """What is to be shown: the view's own selection, the one with its split, one quantity, the page's words, the theme."""

    desk: Desk
    view: Selection
    selection: Selection
    quantity: str
    text: dict[str, tuple[str, ...]]
    theme: str | None

    @property
    def level(self) -> str:
        return number(self.desk.level, "share")

    @property
    def settings(self) -> Settings:
        return self.desk.asker.settings

    def csv(self, rows: str) -> str:
        return self.desk.csv("asymmetry", rows, self.selection)

    def words(self, passage: str, **values: object) -> list[html.P]:
        return paragraphs(self.text[passage], **values)


def layout() -> list[Any]:
    return [ids.SIDES, ids.FURTHER]


def answered(asked: Asked, answer: Asymmetry) -> list[Any]:
    """Headline, prevalence by level, and below what became of it."""
    prevalence = _overall(asked, answer)
    change = next(row for row in answer.change if row.finding.endswith(asked.quantity) and row.level is None)
    return [
        selected(answer, riders=answer.n_riders),
        headline(headline_of(prevalence, change)),
        _quantities(asked),
        _prevalence(asked, answer),
        _levels_table(asked, answer),
        *_flow(asked, answer, change),
    ]


def further(asked: Asked, answer: Asymmetry) -> list[Any]:
    """Patterns of both knees, other limits than the studio's, and how all of it is told."""
    return [
        *_patterns(asked, answer),
        *_curve(asked, answer),
        _more(asked, answer),
        method(answer, asked.words("method", **_limits(asked.settings))),
        data_note(answer),
    ]


def _overall(asked: Asked, answer: Asymmetry) -> PrevalenceRow:
    return next(row for row in answer.prevalence if row.quantity == asked.quantity and row.level is None)


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _limits(settings: Settings) -> dict[str, str]:
    knee = settings.knee
    return {
        "tilt": symmetry.short(knee.side_difference_deg, "deg"),
        "offset": symmetry.short(knee.offset_difference_mm, "mm"),
    }


def _quantities(asked: Asked) -> html.Nav:
    """The choice of a quantity as links, so that it is part of the address."""
    return html.Nav(
        html.Ul([html.Li(_quantity(asked, quantity)) for quantity in QUANTITIES], className="choices"),
        **{"aria-label": "Quantity", "data-choices": "outcome"},
    )


def _quantity(asked: Asked, quantity: str) -> dcc.Link:
    is_chosen = quantity == asked.quantity
    name = OUTCOMES[quantity].name
    return dcc.Link(
        [name, html.Span(" (shown)", className="for-readers")] if is_chosen else name,
        href=asked.desk.addresses.page(PATH, asked.view.query(), None if quantity == QUANTITIES[0] else {"outcome": quantity}),
        className="choice is-chosen" if is_chosen else "choice",
    )


def _prevalence(asked: Asked, answer: Asymmetry) -> html.Div:
    split = plain(asked.selection.split)
    return html.Div(
        [
            chart(
                symmetry.prevalence_figure(answer.prevalence, asked.quantity, asked.theme),
                title=symmetry.finding(answer.prevalence, asked.quantity),
                alternative=symmetry.alternative(answer.prevalence, asked.quantity),
                name="prevalence",
                level=2,
                table_id=ids.LEVELS,
            ),
            reading(
                _moments_key(),
                *asked.words("reading", level=asked.level),
                *([html.Div(asked.words("split", split=split), className="on-screen")] if _is_split(answer) else ()),
                *(html.P(caution) for caution in answer.cautions),
            ),
        ],
        className="with-words",
    )


def _moments_key() -> html.Ul:
    marks = {"arrival": "at arrival, with its interval", "departure": "at departure, with its interval"}
    return html.Ul(
        [
            html.Li([html.Span(className=f"mark mark-{moment}", **{"aria-hidden": "true"}), words])
            for moment, words in marks.items()
        ],
        className="marks-key",
    )


def _is_split(answer: Asymmetry) -> bool:
    """Whether the answer has levels; a split by side makes none, since a side difference takes both knees."""
    return any(row.level for row in answer.prevalence)


def _levels_table(asked: Asked, answer: Asymmetry) -> html.Div:
    split = asked.selection.split or ""
    return table(
        f"Riders with a side difference in {asked.quantity}" + (f", by {plain(split)}" if _is_split(answer) else ""),
        tables.prevalence_columns(split if _is_split(answer) else "riders", asked.level),
        tables.level_rows(answer.prevalence, asked.quantity),
        row_key="level",
        table_id=ids.LEVELS,
        csv=asked.csv("prevalence"),
    )


def _flow(asked: Asked, answer: Asymmetry, change: ChangeRow) -> list[Any]:
    repeat = next(row for row in answer.repeats if row.quantity == asked.quantity)
    split = asked.selection.split or ""
    rows = [row for row in answer.change if row.finding == change.finding]
    return [
        html.H2("What became of it", className="section-title"),
        html.Div(
            [
                chart(
                    symmetry_flow.flow_figure(change, asked.theme),
                    title=symmetry_flow.finding(change),
                    alternative=symmetry_flow.alternative(change),
                    name="flow",
                    table_id=ids.CHANGES,
                ),
                reading(*asked.words("flow"), *_mcnemar(asked, change), html.P(unbroken(repeat.words))),
            ],
            className="with-words",
        ),
        html.Details(
            [
                html.Summary(f"What became of it, by {plain(split)}"),
                table(
                    f"Side difference in {asked.quantity} at both ends, by {plain(split)}",
                    tables.by_split(split, asked.level),
                    rows,
                    row_key="level",
                    table_id=ids.CHANGES,
                    csv=asked.csv("change"),
                ),
            ],
            className="more",
        ),
    ]


def _mcnemar(asked: Asked, change: ChangeRow) -> list[html.P]:
    if change.p_value is None:
        return [html.P(unbroken(_sentence(change.words)))]
    if not change.n_resolved + change.n_new:
        return asked.words("mcnemar-none")
    counts = {"resolved": f"{change.n_resolved:,}", "new": f"{change.n_new:,}"}
    return asked.words("mcnemar", **counts, chance=spoken_chance(change.p_value), p=spoken_p(change.p_value))


def beside(asked: Asked, answer: Asymmetry, sides: Sides) -> list[Any]:
    """Shows each rider's left knee against the right one at both moments, with the numbers as a table."""
    prevalence = _overall(asked, answer)
    quantity, limit = asked.quantity, prevalence.limit
    if not sides.sides:
        return [html.H2("Left against right", className="section-title"), html.P(sides.headline)]
    of_quantity = [row for row in sides.sides if row.quantity == quantity]
    n, _ = symmetry_sides.counts(of_quantity, quantity, "arrival")
    size = of_quantity[0].cell_size if of_quantity else 0.0
    marks = asked.words("cells", n=f"{n:,}", size=symmetry.short(size, prevalence.unit)) if size else asked.words("points")
    return [
        html.H2("Left against right", className="section-title"),
        html.Div(
            [
                html.Div(
                    [_side(asked, of_quantity, moment, limit) for moment in ("arrival", "departure")],
                    className="panels is-double",
                ),
                reading(*marks, *asked.words("sides", limit=symmetry.limit_words(prevalence))),
            ],
            className="with-words",
        ),
        table(
            f"Left against right in {quantity}",
            tables.side_columns(),
            tables.side_rows(sides.sides, quantity),
            row_key="which",
            table_id=ids.SIDES_TABLE,
        ),
        csv_link(asked.desk.csv("sides", "sides", asked.view), f"left against right in {quantity}"),
    ]


def _side(asked: Asked, rows: Sequence[SidesRow], moment: str, limit: float) -> html.Div:
    return html.Div(
        chart(
            symmetry_sides.sides_figure(rows, asked.quantity, moment, limit, asked.theme),
            title=symmetry_sides.finding(rows, asked.quantity, moment),
            alternative=symmetry_sides.alternative(rows, asked.quantity, moment, limit),
            name=f"sides-{moment}",
            table_id=ids.SIDES_TABLE,
        )
    )


def _patterns(asked: Asked, answer: Asymmetry) -> list[Any]:
    knee = asked.settings.knee
    sway = number(knee.high_sway_quantile, "share")
    overall = [row for row in answer.patterns if row.level is None]
    return [
        html.H2("Knee patterns", className="section-title"),
        html.Div(
            [
                html.Div(
                    [html.H3(flow_title(answer.flow), className="chart-title"), flow_grid(answer.flow)], className="sheet"
                ),
                reading(*asked.words("patterns", neutral=symmetry.short(knee.neutral_within_deg, "deg"), sway=sway)),
            ],
            className="with-words",
        ),
        csv_link(asked.csv("flow"), "riders by pattern at arrival and departure"),
        table(
            "How each pattern changed in the same riders",
            tables.by_pattern(asked.level),
            overall,
            row_key="finding",
            csv=asked.csv("patterns"),
        ),
        reading(*asked.words("pattern-changes")),
    ]


def _curve(asked: Asked, answer: Asymmetry) -> list[Any]:
    return [
        html.H2("How much hangs on the limit", className="section-title"),
        html.Div(
            [
                chart(
                    symmetry_curve.curve_figure(answer.curve, asked.quantity, asked.theme),
                    title=symmetry_curve.finding(answer.curve, asked.quantity),
                    alternative=symmetry_curve.alternative(answer.curve, asked.quantity),
                    name="curve",
                    table_id=ids.LIMITS,
                ),
                reading(*asked.words("curve", level=asked.level)),
            ],
            className="with-words",
        ),
    ]


def _more(asked: Asked, answer: Asymmetry) -> html.Div:
    """The other lists of the answer, folded away."""
    curve = [row for row in answer.curve if row.quantity == asked.quantity]
    return html.Div(
        [
            _folded(
                "Other limits",
                table(
                    "The share beyond other limits",
                    tables.curve(asked.level),
                    curve,
                    table_id=ids.LIMITS,
                    csv=asked.csv("curve"),
                ),
            ),
            _folded(
                "How large the differences are",
                table(
                    "Side differences of all selected fits, right less left",
                    tables.differences(asked.level),
                    answer.differences,
                    csv=asked.csv("differences"),
                ),
            ),
            _folded(
                "What noise alone does",
                table(
                    "Captures repeated with nothing changed",
                    tables.repeats(asked.level),
                    answer.repeats,
                    csv=asked.csv("repeats"),
                ),
            ),
        ]
    )


def _folded(summary: str, content: html.Div) -> html.Details:
    return html.Details([html.Summary(summary), content], className="more")
