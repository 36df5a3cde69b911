"""The filter bar: the same on every page, kept in the address. One callback keeps both in step."""

from collections.abc import Sequence
from typing import Any, Final
from urllib.parse import urlencode

from dash import ClientsideFunction, Dash, Input, Output, State, ctx, no_update

from dashboard.components import html, ids
from dashboard.components.address import search_of, split_query
from dashboard.components.controls import Day, OneOf, Several
from dashboard.figures.names import WORDS, plain
from dashboard.questions.door.asking import Choices
from dashboard.questions.selection.selection import FIELDS, SPLITS, codes_of, parse_selection
from shared.errors import UsageError

DATES: Final = ("from", "to")
# Always in sight on a wide screen, the dates on a phone too; the others open with the button.
FIRST: Final = ("from", "to", "studio", "fitter", "split")
# A rider is one of thousands: found on the Riders page, kept in the address, and no control here.
CONTROLS: Final = tuple(word for word in FIELDS if word != "rider")


def filter_bar(
    choices: Choices,
    values: Sequence[Any],
    chosen: html.Ul | None,
    chips: list[Any] | None,
    *,
    splits: bool,
    kept: html.Details | None = None,
    further: bool = True,
) -> html.Section:
    """The bar with what the studio's own data offer to choose from.

    `values`: of the controls, in their order. `chosen`: what is chosen, in words. `chips`: the spans of the calendar.
    `splits`: whether the page splits figures. `kept`: the control of kept views.
    `further`: whether the reader may choose by what was measured.
    """
    given = dict(zip(CONTROLS, values, strict=True))
    return html.Section(
        [
            html.H2("Selection", className="for-readers"),
            html.Nav(chips, id=ids.CHIPS, className="period-chips", **{"aria-label": "Dates", "data-choices": "dates"}),
            html.Div(
                [_control(word, choices, given[word], splits=splits, further=further) for word in (*FIRST, *_others())],
                className="filters",
                id=ids.FILTERS,
            ),
            html.Div(
                [
                    html.Button(
                        "More filters",
                        id=ids.MORE,
                        className="button" if further else "button is-narrow",
                        **{"aria-expanded": "false", "aria-controls": ids.FILTERS},
                    ),
                    html.Button("Reset", id=ids.RESET, className="button"),
                    kept,
                ],
                className="filter-buttons",
            ),
            html.Nav(chosen, id=ids.CHOSEN, className="chosen", **{"aria-label": "What is chosen"}),
        ],
        className="filter-bar",
        id=ids.FILTER_BAR,
        **{"aria-label": "Selection"},
    )


def _others() -> tuple[str, ...]:
    return tuple(word for word in CONTROLS if word not in FIRST)


def _control(word: str, choices: Choices, value: Any, *, splits: bool, further: bool) -> html.Div:
    return html.Div(
        _date(word, choices, value) if word in DATES else _choice(word, choices, value),
        className="filter" if word in FIRST else "filter is-further",
        **({"id": ids.SPLIT, "hidden": not splits} if word == "split" else {} if word in FIRST else {"hidden": not further}),
    )


def _date(word: str, choices: Choices, value: str | None) -> Day:
    return Day(ids.control(word), WORDS[word], _iso(choices.first_date), _iso(choices.last_date), value)


def _iso(day: Any) -> str | None:
    return day.isoformat() if day else None


def _choice(word: str, choices: Choices, value: Any) -> OneOf | Several:
    codes = SPLITS if word == "split" else codes_of(word) or getattr(choices, word)
    options = [{"value": code, "label": code if not codes_of(word) and word != "split" else plain(code)} for code in codes]
    if word == "split":
        return OneOf(ids.control(word), WORDS[word], options, "not split", value)
    return Several(ids.control(word), WORDS[word], options, "all", value)


def follow_address(search: str | None) -> tuple[str, list[Any]] | None:
    """The view's query and the value of every control for an address; None where the address holds a fault."""
    words, page_words = split_query(search)
    try:
        selection = parse_selection(words)
    except UsageError:
        return None
    given = selection.as_dict()
    values = [_control_value(word, given.get(word)) for word in CONTROLS]
    return search_of(selection.query(), page_words), values


def first_values(search: str | None) -> tuple[str | None, list[Any]]:
    """Gives the view and the controls of the page as it is sent: a fault leaves them empty, an unknown address has no view."""
    followed = follow_address(search)
    nothing = follow_address("")
    assert nothing is not None
    return (search, nothing[1]) if search is None or followed is None else followed


def _control_value(word: str, value: Any) -> Any:
    if word in DATES:
        return _iso(value)
    return value if word == "split" else list(value or ())


def follow_controls(search: str | None, values: tuple[Any, ...]) -> str:
    """The address for the values of the controls; a choice within the page is kept, its place in a list is not."""
    asked, page_words = split_query(search)
    page_words.pop("start", None)
    words: dict[str, Any] = {word: value for word, value in zip(CONTROLS, values, strict=True) if value}
    words |= {word: asked[word] for word in FIELDS if word in asked and word not in CONTROLS}
    try:
        query = parse_selection(words).query()
    except UsageError:
        # The page tells what is wrong with it.
        query = urlencode({w: ",".join(v) if isinstance(v, list) else v for w, v in words.items()}, safe=",")
    return search_of(query, page_words)


def register(app: Dash) -> None:
    """Keeps address, controls and view in step, and opens the further filters."""
    controls = [ids.control(word) for word in CONTROLS]

    app.callback(
        Output(ids.URL, "search"),
        Output(ids.VIEW, "data"),
        *(Output(control, "value") for control in controls),
        Input(ids.URL, "search"),
        Input(ids.RESET, "n_clicks"),
        *(Input(control, "value") for control in controls),
        State(ids.VIEW, "data"),
        prevent_initial_call=True,
    )(_keep_in_step)

    app.clientside_callback(
        ClientsideFunction("fitledger", "toggle"),
        Output(ids.FILTER_BAR, "className"),
        Output(ids.MORE, "aria-expanded"),
        Output(ids.MORE, "children"),
        Input(ids.MORE, "n_clicks"),
        State(ids.MORE, "aria-expanded"),
        prevent_initial_call=True,
    )


def _keep_in_step(search: str | None, _: int | None, *rest: Any) -> list[Any]:
    *values, view = rest
    return in_step(ctx.triggered_id, search, tuple(values), view)


def in_step(trigger: str | None, search: str | None, values: tuple[Any, ...], shown: str | None) -> list[Any]:
    """What changes: the address, the view, then every control; `trigger` is what the reader touched, `shown` the view so far.

    A quick reader touches a second thing before the first is answered, and that answer is dropped: the address says what links
    changed since, and the controls that differ from the view shown what the reader chose there. Neither undoes the other.
    """
    if trigger == ids.RESET:
        view, given = first_values("")
        return [no_update if not search else view, no_update if view == shown else view, *given]
    asked, before = follow_address(search), None if shown is None else follow_address(shown)
    if asked is not None and before is not None:
        given = [now if _differ(now, was) else there for now, was, there in zip(values, before[1], asked[1], strict=True)]
        is_touched = any(_differ(now, was) for now, was in zip(values, before[1], strict=True))
    else:
        # Controls report their empty value when they are put on the page; the address comes first.
        is_touched = shown is not None and trigger not in (None, ids.URL)
        given = list(values) if is_touched or asked is None else asked[1]
    view = follow_controls(search, tuple(given)) if is_touched else asked[0] if asked else search or ""
    return [
        view if is_touched and view != (search or "") else no_update,
        no_update if view == shown else view,
        *(value if _differ(value, now) else no_update for value, now in zip(given, values, strict=True)),
    ]


def _differ(one: Any, other: Any) -> bool:
    """Whether two values of a control differ; it tells nothing chosen in more than one way."""
    return (one or None) != (other or None)
