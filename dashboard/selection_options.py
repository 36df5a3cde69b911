"""The words of a selection as options of a command, the same for every command that takes one."""

import functools
import inspect
from collections.abc import Callable
from typing import Annotated, Any, Final

import typer

from dashboard.questions.selection.selection import FIELDS, parse_selection

_HELP: Final = {
    "from": "First day of the fits.",
    "to": "Last day of the fits.",
    "studio": "Studios, comma-separated, as all that follow.",
    "fitter": "Fitters.",
    "visit_kind": "Kinds of visit.",
    "bike_kind": "Kinds of bicycle.",
    "riding": "Kinds of riding.",
    "arch_height": "Arch heights.",
    "forefoot": "Forefoot classes.",
    "side": "left or right.",
    "rider": "Riders, by the studio's own ids.",
    "split": "Column by which the figures are split, such as foot_type.",
}


def takes_selection(command: Callable[..., None]) -> Callable[..., None]:
    """Gives a command one option for each word of a selection, and the selection as its argument `selection`.

    Raises UsageError, when called, for a word that no selection knows.
    """
    own = [one for one in inspect.signature(command).parameters.values() if one.name != "selection"]

    @functools.wraps(command)
    def given(**arguments: Any) -> None:
        words = {word: arguments.pop(name) for word, name in FIELDS.items()}
        command(**arguments, selection=parse_selection(words))

    options = [_option(word, name) for word, name in FIELDS.items()]
    given.__signature__ = inspect.Signature([*own, *options])  # type: ignore[attr-defined]
    given.__annotations__ = {one.name: one.annotation for one in (*own, *options)}
    return given


def _option(word: str, name: str) -> inspect.Parameter:
    spellings = dict.fromkeys((f"--{word.replace('_', '-')}", f"--{word}"))
    option = typer.Option(*spellings, metavar="DATE" if name.startswith("date_") else "TEXT", help=_HELP[word])
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default="", annotation=Annotated[str, option])
