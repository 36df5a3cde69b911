"""By hand: two feet as they are typed, and the panels of the answer for them; nothing that is typed is kept anywhere."""

from typing import Any, Final

from dash import Dash, Input, Output

from dashboard.components import html
from dashboard.components import ids as common
from dashboard.components.controls import Sheet
from dashboard.components.faults import fault_note
from dashboard.components.next_steps import NextStep
from dashboard.components.page import Desk
from dashboard.components.text import paragraphs
from dashboard.pages.next_rider import ids
from dashboard.pages.next_rider.answer import record_note, told
from dashboard.pages.next_rider.asked import PATH, TEXT
from dashboard.questions.foresight.knees import SIDES
from dashboard.questions.foresight.typed import GROUPS, TypedGroup, field_name, form_typed
from shared.errors import FitledgerError

VIEW_PATH: Final = "by-hand"


def layout() -> list[Any]:
    return [
        html.Div(paragraphs(TEXT["by-hand"]), className="by-hand-words"),
        Sheet(ids.SHEET, [_group(one) for one in GROUPS], "The two feet", "Show what tended to follow", ids.TYPED),
        html.Div(id=ids.TYPED, className="by-hand-told", tabIndex=-1),
    ]


def _group(group: TypedGroup) -> dict[str, Any]:
    """The group as assets/controls.js draws it."""
    return {
        "words": group.words,
        "isRare": group.is_rare,
        "sides": [side.capitalize() for side in SIDES],
        "rows": [
            {
                "words": one.words,
                "unit": one.unit,
                "isText": one.is_text,
                "options": [{"value": code, "label": words} for code, words in one.options],
                "names": [field_name(side, one.name) for side in SIDES] if one.of_both else [one.name],
            }
            for one in group.fields
        ],
    }


def register(app: Dash, desk: Desk) -> None:
    app.callback(Output(ids.TYPED, "children"), Input(ids.SHEET, "typed"), Input(common.THEME, "data"))(
        lambda typed, theme: foretold(desk, typed, theme)
    )


def foretold(desk: Desk, typed: Any, theme: str | None) -> Any:
    """What stands under the form: nothing before anything was typed, else the panels or a sentence."""
    if not typed:
        return None
    drawn = theme if isinstance(theme, str) else None
    try:
        answer = desk.asker.foresee(form_typed(typed))
        steps = [NextStep("How well foreseen", desk.addresses.page(f"{PATH}/how-well-foreseen"))]
        whose = html.P([html.Strong("Selected: "), "two feet typed by hand"], className="selected")
        said = html.H2(answer.headline, className="typed-headline")
        return html.Div(
            [whose, said, record_note(desk), told(desk, answer, drawn, steps)],
            role="region",
            **{"aria-label": "For the feet as typed"},
        )
    except FitledgerError as fault:
        return fault_note(fault)
    except Exception as fault:
        # A fault's own words may hold what was typed: the log gets its kind and where it happened.
        return fault_note(RuntimeError(type(fault).__name__).with_traceback(fault.__traceback__))
