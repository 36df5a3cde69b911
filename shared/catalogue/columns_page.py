"""Writes COLUMNS.md, the page of columns for people, from the data package: `python -m shared.catalogue.columns_page`."""

from pathlib import Path

from shared.catalogue.catalogue import Column, Table, catalogue
from shared.units import UNITS

PAGE = Path(__file__).with_name("COLUMNS.md")
_HEAD = """# The exported tables, column by column

Made from `datapackage.json` by `python -m shared.catalogue.columns_page`; change it there. Bold: the key.
Required columns carry a star. Text is trimmed, an empty cell is missing, codes are matched without case, dates are ISO 8601.
"""


def page() -> str:
    """The whole page as Markdown."""
    return _HEAD + "".join(_section(table) for table in catalogue().values())


def _section(table: Table) -> str:
    lines = [
        "",
        f"## {table.name}",
        "",
        table.description,
        "",
        "| column | type | unit | allowed | meaning |",
        "| --- | --- | --- | --- | --- |",
    ]
    lines += [_line_of(table, column) for column in table.columns]
    for key in table.foreign_keys:
        lines += ["", f"`{key.column}` names a row of `{key.table}`."]
    for rule in table.row_rules:
        lines += [
            "",
            f"Rule `{rule.rule}` on {', '.join(f'`{name}`' for name in rule.columns)} ({rule.kind.replace('_', ' ')}).",
        ]
    return "\n".join(lines) + "\n"


def _line_of(table: Table, column: Column) -> str:
    name = f"**{column.name}**" if column.name in table.key else column.name
    unit = UNITS[column.unit].sign if column.unit in UNITS else column.unit or ""
    meaning = f"{column.description} {column.sign.capitalize() if column.sign else ''}".strip()
    return f"| {name}{'*' if column.required else ''} | {column.type} | {unit} | {_allowed(column)} | {meaning} |"


def _allowed(column: Column) -> str:
    if column.codes:
        return ", ".join(column.codes)
    lowest = "" if column.minimum is None else f"{column.minimum}"
    highest = {"load_date": "day of the load", "load_year": "year of the load"}.get(column.latest or "", "")
    highest = highest or ("" if column.maximum is None else f"{column.maximum}")
    return f"{lowest} … {highest}".strip() if lowest or highest else ""


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
