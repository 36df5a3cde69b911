"""One row of the table of attacks: what was attacked, what was tried and how often, and whether it held."""

from collections.abc import Collection
from typing import Any

Row = dict[str, Any]
_SHOWN = 3


def row(attack: str, tried: str, failures: Collection[str], held: str) -> Row:
    """`failures`: one sentence for each try that got through; without one it held, and `held` tells how."""
    if not failures:
        return {"attack": attack, "tried": tried, "held": True, "told": held}
    few = "; ".join(list(failures)[:_SHOWN])
    more = f"; and {len(failures) - _SHOWN} more" if len(failures) > _SHOWN else ""
    return {"attack": attack, "tried": tried, "held": False, "told": f"{few}{more}"}


def as_markdown(rows: Collection[Row]) -> str:
    """The table as Markdown."""

    def cell(value: object) -> str:
        return str(value).replace("|", "\\|").replace("\n", " ")

    head = ["| attack | tried | held | what was seen |", "| --- | --- | --- | --- |"]
    body = (
        f"| {cell(one['attack'])} | {cell(one['tried'])} | {'held' if one['held'] else '**not held**'} | {cell(one['told'])} |"
        for one in rows
    )
    return "\n".join([*head, *body])
