"""The controls of the selection: the browser's own elements, drawn by assets/controls.js.

A component library's date fields and lists took a third of the browser's time before the first answer was asked for.
"""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from dash.development.base_component import Component

Option = dict[str, str]


class _Control(Component):  # type: ignore[misc]  # Dash is untyped
    """What Dash asks of a component, and what all controls share: an id, a label and a value."""

    _namespace = "fitledger"
    _type = ""
    _children_props: ClassVar[list[str]] = []
    _base_nodes: ClassVar[list[str]] = []
    _prop_names: ClassVar[list[str]] = [
        "id",
        "label",
        "value",
        "words",
        "options",
        "placeholder",
        "first",
        "last",
        "typed",
        "found",
        "groups",
        "button",
        "told",
    ]
    _valid_wildcard_attributes: ClassVar[list[str]] = []


class Day(_Control):
    """One day; `first` and `last` bound what the calendar offers. `value` is an ISO date or None."""

    _namespace, _type = "fitledger", "Day"

    def __init__(self, control_id: str, label: str, first: str | None, last: str | None, value: str | None) -> None:
        super().__init__(id=control_id, label=label, first=first, last=last, value=value)


class OneOf(_Control):
    """One of the options or none; `value` is a code or None, told as `placeholder`."""

    _namespace, _type = "fitledger", "OneOf"

    def __init__(self, control_id: str, label: str, options: Sequence[Option], placeholder: str, value: str | None) -> None:
        super().__init__(id=control_id, label=label, options=list(options), placeholder=placeholder, value=value)


class Several(_Control):
    """Any number of the options; `value` is a list of codes, told as `placeholder` where it is empty."""

    _namespace, _type = "fitledger", "Several"

    def __init__(self, control_id: str, label: str, options: Sequence[Option], placeholder: str, value: Sequence[str]) -> None:
        super().__init__(id=control_id, label=label, options=list(options), placeholder=placeholder, value=list(value))


class Find(_Control):
    """A field that finds while the reader types: tells `typed`, is given `found`, and tells the match as `value`.

    `found`: {"of": the text they were found for, "matches": [...], "words": a sentence on them}.
    """

    _namespace, _type = "fitledger", "Find"

    def __init__(self, control_id: str, label: str, placeholder: str) -> None:
        super().__init__(id=control_id, label=label, placeholder=placeholder, value=None, typed="", found=None)


class Sheet(_Control):
    """A form of fields in groups that tells all at once, as `typed`: {name of a field: its text}; None when cleared.

    `groups`: [{"words", "sides": names of the columns, "isRare": folded, "rows": [{"words", "unit", "options", "isText",
    "names": a field a column, or one}]}]; a row without options holds numbers, or a text. `words`: what the fields are
    together, over which they are folded once they are told. `told`: the id of the place that is filled from what is typed, and
    is then shown. Its fields are forgotten with the page.
    """

    _namespace, _type = "fitledger", "Sheet"

    def __init__(self, control_id: str, groups: Sequence[Mapping[str, Any]], words: str, button: str, told: str) -> None:
        super().__init__(id=control_id, groups=list(groups), words=words, button=button, told=told, typed=None)
