"""How far to trust it: both estimates side by side, checks, the chance of the first capture, single riders, the methods."""

from collections.abc import Sequence
from typing import Any, cast

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk, PageView, Show, place
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.effects import estimates_agree, estimates_differ, estimates_panel, in_order, told_words
from dashboard.figures.names import OUTCOMES, SUPPORTS
from dashboard.figures.nearer import ARRIVALS, of_arrival
from dashboard.figures.neutral import alternative as neutral_alternative
from dashboard.figures.neutral import finding as neutral_finding
from dashboard.figures.neutral import neutral_chart
from dashboard.figures.theme import number
from dashboard.pages.supports import ids
from dashboard.pages.supports.asked import NEARER, TEXT, chosen_outcome, effects, nearer, outcome_links, outcome_name
from dashboard.pages.supports.checked import checked
from dashboard.pages.supports.tables import estimate_columns, influence_columns, larger, neutral_columns, responder_columns
from dashboard.questions.drawn.answers_drawn import Drawn
from dashboard.questions.effects.answers_checks import Checks
from dashboard.questions.effects.answers_effects import Effects, InfluenceRow
from dashboard.questions.effects.nearer import rows_by_arrival
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection


def layout() -> list[Any]:
    sides = ((ids.BOTH,), (ids.CHANCE, ids.CHECKS))
    return [html.Div([html.Div([place(one) for one in side]) for side in sides], className="panels trust"), ids.INFLUENCE]


def shows(desk: Desk) -> dict[str, Show]:
    def show_both(view: View, theme: str | None) -> Any:
        outcome = chosen_outcome(view, NEARER)
        return both(desk, view.selection, _held(desk, view.selection, outcome), outcome, theme)

    def show_checks(view: View, _: str | None) -> Any:
        outcome = chosen_outcome(view)
        answer = cast(Checks, desk.asker.ask("checks", view.selection, outcomes=(outcome,)))
        return checked(desk, view.selection, answer, outcome, TEXT)

    def show_chance(view: View, theme: str | None) -> Any:
        responders = effects(desk, view.selection, "responders")
        return [
            *by_the_draw(desk),
            *chance(desk, view.selection, nearer(desk, view.selection), theme),
            *moved_beyond_noise(desk, view.selection, responders),
        ]

    def show_influence(view: View, _: str | None) -> Any:
        outcome = chosen_outcome(view)
        answer = effects(desk, view.selection, "influence", outcomes=(outcome,))
        return [*influence(desk, view.selection, answer), method(answer, paragraphs(TEXT["method"])), data_note(answer)]

    return {ids.BOTH: show_both, ids.CHECKS: show_checks, ids.CHANCE: show_chance, ids.INFLUENCE: show_influence}


def by_the_draw(desk: Desk) -> list[html.P]:
    """What the newest comparison of drawn order says, which rests on no model; nothing where none is, or who draws asks."""
    answer = cast(Drawn, desk.asker.ask("drawn", Selection()))
    if not answer.comparisons:
        return []
    way = dcc.Link("Drawn orders", href=desk.addresses.page("next/drawn-orders"))
    return [html.P([answer.comparisons[0].words, " ", way], className="by-the-draw")]


def _held(desk: Desk, selection: Selection, outcome: str) -> list[EffectRow]:
    """The rows of which both estimates are shown: those of the answer, or of another outcome that is chosen."""
    if outcome != NEARER:
        return in_order(effects(desk, selection, "overall", outcomes=(outcome,)).effects, outcome)
    rows = rows_by_arrival(nearer(desk, selection).effects)
    return [row for arrival in ARRIVALS for row in of_arrival(rows, arrival)]


def both(desk: Desk, selection: Selection, rows: Sequence[EffectRow], outcome: str, theme: str | None) -> list[Any]:
    """The choice of an outcome, both estimates of it beside the interval that is told, and what follows where they differ."""
    choice, name = outcome_links(desk, selection, VIEW.path, outcome, with_nearer=True), outcome_name(outcome)
    estimated = [row for row in rows if row.told_low is not None]
    if not estimated:
        withheld = next((row.words for row in rows if row.pooled is not None), None)
        return [choice, html.P(withheld or f"{name}: no figure yet for any support, so there is nothing to hold beside it.")]
    apart = [row for row in estimated if estimates_differ(row)]
    kinds = dict.fromkeys(larger(row) for row in apart)
    return [
        choice,
        chart(
            estimates_panel(estimated, outcome, theme),
            title=f"{name}: {_how_they_stand(estimated, apart)}",
            alternative=told_words(estimated, outcome),
            name=f"both-{outcome}",
            level=2,
            table=table(
                f"Both estimates: {name.lower()}",
                estimate_columns(number(desk.level, "share")),
                estimated,
                row_key="support",
            ),
        ),
        _estimates_key(any(row.sequential is not None for row in estimated)),
        reading(*paragraphs(TEXT["disagree" if apart else "agree"])),
        html.Details(
            [
                html.Summary("What a difference hints at"),
                *paragraphs(TEXT["why_two"], level=number(desk.level, "share")),
                *paragraphs(TEXT["third"]),
                *(part for kind in kinds for part in paragraphs(TEXT[kind])),
            ],
            className="more",
        ),
    ]


def _how_they_stand(estimated: Sequence[EffectRow], apart: Sequence[EffectRow]) -> str:
    """Whether the estimates differ, are known to agree, or are only not found to differ."""
    if apart:
        return f"the two estimates disagree in {len(apart)} of {counted(len(estimated), 'figure')}"
    known = sum(estimates_agree(row) for row in estimated)
    if known == len(estimated):
        return f"the two estimates agree in {'all ' if known > 1 else ''}{counted(known, 'figure')}"
    where = f"in {len(estimated) - known} of {counted(len(estimated), 'figure')} little could be"
    return f"no disagreement of the two estimates found, and {where}"


def chance(desk: Desk, selection: Selection, answer: Effects, theme: str | None) -> list[Any]:
    """How much nearer knees left in all, by where they stood at arrival, and how much of it is the chance of one capture."""
    if not answer.off_neutral:
        return []
    level = number(desk.level, "share")
    return [
        chart(
            neutral_chart(answer.off_neutral, theme),
            title=neutral_finding(answer.off_neutral),
            alternative=neutral_alternative(answer.off_neutral),
            name="off-neutral",
            level=2,
            table=table(
                "Change in the distance from neutral, arrival to departure",
                neutral_columns(level),
                answer.off_neutral,
            ),
        ),
        _neutral_key(),
        reading(*paragraphs(TEXT["neutral"])),
    ]


def _estimates_key(has_third: bool) -> html.Ul:
    """The marks of the estimates that stand there; each differs in shape, not only in colour."""
    third = [("third", "by what was known before each capture (third)")] if has_third else []
    return _key(
        [
            ("claimed", "over both estimates, a clear change"),
            ("told", "no clear change"),
            ("pooled", "over all riders (pooled)"),
            ("within", "each knee against itself (within knee)"),
            *third,
        ]
    )


def _neutral_key() -> html.Ul:
    return _key(
        (("net", "beyond the noise, its interval"), ("measured", "as measured"), ("noise", "what noise alone would do"))
    )


def _key(marks: Sequence[tuple[str, str]]) -> html.Ul:
    return html.Ul(
        [html.Li([html.Span(className=f"mark mark-{mark}", **{"aria-hidden": "true"}), words]) for mark, words in marks],
        className="marks-key",
    )


def moved_beyond_noise(desk: Desk, selection: Selection, answer: Effects) -> list[Any]:
    """The share of knees that moved by more than one capture can tell, in a sentence over its table."""
    if not answer.responders:
        return []
    first = next((row for row in answer.responders if row.response == "better"), answer.responders[0])
    return [
        html.H2("How many knees moved by more than the noise", className="section-title"),
        html.P(first.words, className="section-lead"),
        html.Details(
            [
                html.Summary("Better, unchanged and worse, tilt and sway"),
                table(
                    "Knees better, unchanged and worse at departure",
                    responder_columns(number(desk.level, "share")),
                    answer.responders,
                ),
                *paragraphs(TEXT["responders"]),
            ],
            className="more",
        ),
    ]


def influence(desk: Desk, selection: Selection, answer: Effects) -> list[Any]:
    """Whether an estimate rests on one rider, over its table; nothing where no estimate can be told."""
    if not answer.influence:
        return []
    return [
        html.H2(rests_on_one(answer.influence), className="section-title"),
        html.Details(
            [
                html.Summary("Each estimate with any one rider left out"),
                table(
                    "Between which values an estimate would lie",
                    influence_columns(),
                    answer.influence,
                ),
                *paragraphs(TEXT["influence"]),
            ],
            className="more",
        ),
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


VIEW = PageView("how-far-to-trust-it", "How far to trust it", layout, shows)
