"""Drawn orders: what a comparison says by the draw alone, and the form that draws before a capture, opens and closes."""

from collections.abc import Callable
from datetime import date
from typing import Any, Final, cast

from dash import Dash, Input, Output

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.controls import Sheet
from dashboard.components.faults import fault_note
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.theme import NOTHING, day, interval, number
from dashboard.figures.told_rows import ToldRow, span_of, told_rows
from dashboard.pages.next_rider import ids
from dashboard.pages.next_rider.asked import TEXT
from dashboard.questions.door.drawing import close_as, draw_as, open_as, open_comparisons
from dashboard.questions.drawn.answers_drawn import ArmRow, ComparisonRow, Drawn
from dashboard.questions.drawn.steps import ANY, ARCHES, FOREFEET, INSOLES, KNEES, STEPS
from dashboard.questions.selection.selection import Selection
from shared.errors import FitledgerError, UsageError
from shared.logbook.drawing import MAY_OVERRULE, Comparison, Feet

VIEW_PATH: Final = "drawn-orders"
_OUTCOMES: Final = {"off_neutral": "distance from neutral", "tilt": "tilt", "sway": "sway"}
_REASONS: Final = {
    "rule": "its stop rule", "clear": "a clear difference", "harm": "it does harm", "other": "something else",
}  # fmt: skip


def shows(desk: Desk) -> dict[str, Show]:
    def show(_: View, theme: str | None) -> Any:
        answer = cast(Drawn, desk.asker.ask("drawn", Selection()))
        return [_open(open_comparisons(desk.asker)), *said(answer, theme)]

    return {ids.DRAWN: show}


def _open(comparisons: tuple[Comparison, ...]) -> html.P | None:
    """What is open now, with its seal."""
    if not comparisons:
        return None
    told = [
        f"{one.comparison_id}: {STEPS[one.first_step]} or {STEPS[one.second_step]} first (seal {one.commitment[:12]}…)"
        for one in comparisons
    ]
    return html.P([html.Strong("Open: "), "; ".join(told)], className="record-note")


def said(answer: Drawn, theme: str | None) -> list[Any]:
    """The newest comparison with its picture, and all of them in a table."""
    if not answer.comparisons:
        return [html.P(answer.headline, className="record-headline")]
    row = answer.comparisons[0]
    return [
        html.P(row.words, className="record-headline"),
        html.P(f"For {row.feet}. {_seal(row)}"),
        *_pictured(row, [arm for arm in answer.arms if arm.comparison_id == row.comparison_id], theme),
        table("Every comparison", _columns(), list(answer.comparisons), table_id="next-drawn-all"),
        html.Details([html.Summary("How it is computed"), *paragraphs(TEXT["drawn-method"])], className="method"),
    ]


def _pictured(row: ComparisonRow, arms: list[ArmRow], theme: str | None) -> list[Any]:
    """The interval that answers, and what the order left behind; nothing before there is one."""
    bars = _bars(row)
    if not any(bar.ends for bar in bars):
        return []
    picture = chart(
        told_rows(bars, theme, span=span_of(bars), title=f"{row.second_step} less {row.first_step}", suffix=_suffix(row)),
        title=f"{_OUTCOMES[row.outcome].capitalize()}: {row.second_step} less {row.first_step}",
        alternative="; ".join(f"{bar.name}: {bar.printed}" for bar in bars),
        name="next-drawn",
        level=2,
        table=table("By what was drawn to come first", _arm_columns(), arms, table_id="next-drawn-arms"),
    )
    return [picture, reading(*paragraphs(TEXT["drawn"]))]


def _suffix(row: ComparisonRow) -> str:
    return "°" if row.unit == "deg" else " mm"


def _bars(row: ComparisonRow) -> list[ToldRow]:
    told = ToldRow(
        "At the next capture",
        NOTHING if row.told_low is None else interval(row.told_low, row.told_high, row.unit, effect=True),
        row.told_low,
        row.told_high,
        is_claimed=bool(row.direction),
    )
    if row.left_low is None:
        return [told]
    left = interval(row.left_low, row.left_high, row.unit, effect=True)
    return [told, ToldRow(f"Once both were made ({row.n_both} fits)", left, row.left_low, row.left_high, is_claimed=False)]


def _seal(row: ComparisonRow) -> str:
    if row.is_as_sealed is None:
        return f"Its seed is sealed as {row.commitment[:12]}… and told when it is closed."
    told = "every draw is what the sealed seed gives" if row.is_as_sealed else "the draws are NOT what the sealed seed gives"
    return f"Closed: {told}."


def _columns() -> list[Column]:
    def told(row: ComparisonRow) -> str:
        return NOTHING if row.told_low is None else interval(row.told_low, row.told_high, row.unit, effect=True)

    return [
        Column("Comparison", lambda row: row.comparison_id),
        Column("Second less first", lambda row: f"{row.second_step} less {row.first_step}", wide=True),
        Column("Of", lambda row: _OUTCOMES[row.outcome]),
        Column("Opened", lambda row: day(row.opened_on)),
        Column("Drawn", lambda row: f"{row.n_drawn} of {row.stop_after}", numeric=True),
        Column("Overruled", lambda row: str(row.n_overruled), numeric=True),
        Column("Difference", told, numeric=True),
    ]


def _arm_columns() -> list[Column]:
    def figure(name: str) -> Callable[[ArmRow], str]:
        return lambda row: NOTHING if getattr(row, name) is None else number(getattr(row, name), row.unit, effect=True)

    return [
        Column("Drawn to come first", lambda row: row.step),
        Column("Draws", lambda row: str(row.n_drawn), numeric=True),
        Column("Measured", lambda row: str(row.n_captured), numeric=True),
        Column("Overruled", lambda row: str(row.n_overruled), numeric=True),
        Column("Before", figure("mean_before"), numeric=True),
        Column("Change", figure("mean_change"), numeric=True),
    ]


def layout() -> list[Any]:
    drawing = Sheet(ids.DRAW_SHEET, [_DRAW], "The fit", "Draw which comes first", ids.DRAW_TOLD)
    leading = Sheet(ids.LEAD_SHEET, [_WHAT, _FEET, _STOP], "The comparison", "Open the comparison", ids.LEAD_TOLD)
    closing = Sheet(ids.CLOSE_SHEET, [_CLOSE], "The comparison", "Close it", ids.CLOSE_TOLD)
    return [
        ids.DRAWN,
        _fold("Draw for a fit, before its next capture", drawing, ids.DRAW_TOLD),
        _fold("Open a comparison (head fitter, owner)", leading, ids.LEAD_TOLD),
        _fold("Close a comparison (head fitter, owner)", closing, ids.CLOSE_TOLD),
    ]


def _fold(words: str, sheet: Sheet, told: str) -> html.Details:
    place = html.Div(id=told, className="sheet-told", tabIndex=-1)
    return html.Details([html.Summary(words), sheet, place], className="more way-to")


def _row(name: str, words: str, options: dict[str, str] | None = None, kind: str = "text", unit: str = "") -> dict[str, Any]:
    """A field that is of no side, as assets/controls.js draws it."""
    listed = [{"value": value, "label": label} for value, label in (options or {}).items()]
    return {"words": words, "unit": unit, "options": listed, "names": [name], "isText": kind == "text", "isDay": kind == "day"}


def _same(*codes: str) -> dict[str, str]:
    return {code: code.replace("_", " ") for code in codes}


def _group(words: str, *rows: dict[str, Any]) -> dict[str, Any]:
    return {"words": words, "sides": [""], "rows": list(rows)}


_DRAW: Final = _group(
    "The fit",
    _row("fit", "Fit", unit="its session_id"),
    _row("side", "Side", _same("left", "right")),
    _row("after", "Last capture", kind="number", unit="its number"),
    _row("fitter", "Fitter", unit="empty: you"),
    _row("comparison", "Comparison", unit="empty: the open one"),
)
_WHAT: Final = _group(
    "What is compared",
    _row("first", "One step", STEPS),
    _row("second", "The other", STEPS),
    _row("outcome", "By", _OUTCOMES),
)
_FEET: Final = _group(
    "For which feet",
    _row("arch", "Arch", _same(*ARCHES, ANY)),
    _row("forefoot", "Forefoot", _same(*FOREFEET, ANY)),
    _row("insole", "Insole now", _same(*INSOLES)),
    _row("shims", "Shims now", kind="number", unit="varus +"),
    _row("knee", "Knee arrived", _same(*KNEES, ANY)),
)
_STOP: Final = _group(
    "When it stops",
    _row("stop_after", "After draws", kind="number"),
    _row("stop_on", "At the latest on", kind="day"),
    _row("confirmed", MAY_OVERRULE, {MAY_OVERRULE: "Confirmed"}),
)
_CLOSE: Final = _group("Which, and why", _row("comparison", "Comparison"), _row("why", "Why", _REASONS))


def register(app: Dash, desk: Desk) -> None:
    for sheet, told, act in (
        (ids.DRAW_SHEET, ids.DRAW_TOLD, _draw),
        (ids.LEAD_SHEET, ids.LEAD_TOLD, _open_one),
        (ids.CLOSE_SHEET, ids.CLOSE_TOLD, _close),
    ):
        app.callback(Output(told, "children"), Input(sheet, "typed"), prevent_initial_call=True)(acting(desk, act))


def acting(desk: Desk, act: Callable[[Desk, dict[str, str]], str]) -> Callable[[Any], Any]:
    """Does what a sheet asks for, and tells what came of it, or why not."""

    def answer(typed: Any) -> Any:
        if not typed:
            return None
        try:
            if not isinstance(typed, dict) or not all(isinstance(one, str) for pair in typed.items() for one in pair):
                raise UsageError("Fill in the form above.")
            return html.P(act(desk, {name: text.strip() for name, text in typed.items()}), role="status")
        except FitledgerError as fault:
            return fault_note(fault)

    return answer


def _draw(desk: Desk, typed: dict[str, str]) -> str:
    return draw_as(
        desk.asker,
        typed.get("comparison", ""),
        typed.get("fit", ""),
        typed.get("side", ""),
        after=_whole(typed, "after", "the last capture"),
        fitter=typed.get("fitter", ""),
    )


def _open_one(desk: Desk, typed: dict[str, str]) -> str:
    feet = Feet(
        arch_height=typed.get("arch") or ANY,
        forefoot=typed.get("forefoot") or ANY,
        insole_level=typed.get("insole") or "none",
        total_shims=_whole(typed, "shims", "shims now") if typed.get("shims") else 0,
        knee=typed.get("knee") or ANY,
    )
    opened = open_as(
        desk.asker,
        (typed.get("first", ""), typed.get("second", "")),
        feet,
        typed.get("outcome") or "off_neutral",
        stop_after=_whole(typed, "stop_after", "after draws"),
        stop_on=_day(typed.get("stop_on", "")),
        confirmed=typed.get("confirmed", ""),
    )
    return f"{opened.comparison_id} is open. Seal of its seed (SHA-256), to be kept: {opened.commitment}"


def _close(desk: Desk, typed: dict[str, str]) -> str:
    closed = close_as(desk.asker, typed.get("comparison", ""), typed.get("why", ""))
    return f"{closed.comparison_id} is closed. Its seed: {closed.seed}"


def _whole(typed: dict[str, str], name: str, words: str) -> int:
    try:
        return int(typed.get(name, ""))
    except ValueError:
        raise UsageError(f"{words[:1].upper()}{words[1:]}: expected a whole number.") from None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError("At the latest on: expected a day.") from None


VIEW: Final = PageView(VIEW_PATH, "Drawn orders", layout, shows, register=register)
