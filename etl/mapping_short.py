"""What a mapping may say in short, written out before it is read: columns that stand beside the keys of their table, left and
right in one line, riders and fitters who are known from the visits alone, the captures of a log.
"""

from collections.abc import Mapping
from typing import Any, Final

from etl.mapping_keys import LogMapping, TableMapping
from shared.catalogue import catalogue
from shared.errors import UsageError

SIDES: Final = ("left", "right")
FROM_VISITS: Final = "from_visits"
# The columns that the ids of the visits fill, of each table that they may stand for.
_KNOWN: Final = {"riders": ("rider_id",), "fitters": ("fitter_id", "fitter_name")}
_OF_FILES: Final = ("files", "sheets", "form", "where")


def written_out(content: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The content of a mapping file with every short form in its long one; what is of a wrong kind stays for who reads it.

    Raises UsageError where the same is said twice.
    """
    whole = {key: value for key, value in content.items() if key != FROM_VISITS}
    tables = content.get("tables")
    if isinstance(tables, Mapping):
        whole["tables"] = {
            table: _table(mapped, f"Mapping {name}: tables.{table}", TableMapping) if isinstance(mapped, Mapping) else mapped
            for table, mapped in tables.items()
        }
        whole["tables"] = {
            table: _of_captures(table, mapped, whole["tables"].get("knee_captures"))
            for table, mapped in whole["tables"].items()
        }
    if FROM_VISITS in content:
        whole["tables"] = {**_from_visits(content[FROM_VISITS], whole.get("tables"), name), **whole.get("tables", {})}
    return whole


def _table(mapped: Mapping[str, Any], place: str, model: type[TableMapping] | type[LogMapping]) -> dict[str, Any]:
    columns = {column for table in catalogue().values() for column in table.column_names}
    short = {key: value for key, value in mapped.items() if key in columns and key not in model.model_fields}
    whole = {key: value for key, value in mapped.items() if key not in short}
    if isinstance(log := whole.get("log"), Mapping):
        whole["log"] = _table(log, f"{place}.log", LogMapping)
    given = whole.get("columns", {})
    if not isinstance(given, Mapping):
        return whole
    if twice := [column for column in short if column in given]:
        raise UsageError(f"{place}.{twice[0]} is said twice, once below {place.rpartition('.')[2]}.columns. Leave one out.")
    common = {**given, **short}
    sided = {column: spec for column, spec in common.items() if isinstance(spec, Mapping) and set(SIDES) & set(spec)}
    if common:
        whole["columns"] = {column: spec for column, spec in common.items() if column not in sided}
    if sided:
        whole["each"] = _by_side(sided, whole, place)
    return whole


def _by_side(sided: Mapping[str, Mapping[str, Any]], whole: Mapping[str, Any], place: str) -> list[dict[str, Any]]:
    """An entry a side, of the columns that name a source of their own on each."""
    if "each" in whole or "side" in whole.get("columns", {}):
        word = "each" if "each" in whole else "side"
        raise UsageError(f"{place}: left and right make a row a side, and so does {word}. Leave {word} or left and right out.")
    entries = []
    for side in SIDES:
        entry: dict[str, Any] = {"side": {"value": side}}
        for column, spec in sided.items():
            if side in spec:
                own = spec[side] if isinstance(spec[side], Mapping) else {"from": spec[side]}
                entry[column] = {**{key: value for key, value in spec.items() if key not in SIDES}, **own}
        entries += [entry] if len(entry) > 1 else []
    return entries


def _of_captures(name: str, mapped: Any, captures: Any) -> Any:
    """A table that says no more than its log, in a file of its own: a row of each capture of knee_captures."""
    is_log_alone = (
        isinstance(mapped, Mapping)
        and set(mapped) == {"log"}
        and isinstance(mapped["log"], Mapping)
        and "files" in mapped["log"]
    )
    if (
        not is_log_alone
        or not isinstance(captures, Mapping)
        or not {"files", "sheets"} & set(captures)
        or name == "knee_captures"
    ):
        return mapped
    keys = catalogue()["knee_captures"].key

    def of_keys(columns: Mapping[str, Any]) -> dict[str, Any]:
        return {key: columns[key] for key in keys if key in columns}

    whole = {key: captures[key] for key in (*_OF_FILES, "ignore") if key in captures}
    whole |= {"columns": of_keys(captures.get("columns", {})), "log": mapped["log"]}
    return whole | ({"each": [of_keys(each) for each in captures["each"]]} if "each" in captures else {})


def _from_visits(said: Any, tables: Any, name: str) -> dict[str, Any]:
    place = f"Mapping {name}: {FROM_VISITS}"
    expected = '{ riders = "heading", fitters = "heading" }'
    if not isinstance(said, Mapping) or not said or set(said) - set(_KNOWN):
        raise UsageError(f"{place}: expected {expected}, each with the column of the visits that names them.")
    visits = tables.get("fit_sessions") if isinstance(tables, Mapping) else None
    if not isinstance(visits, Mapping):
        raise UsageError(f"{place} takes ids from the visits, and there is no [tables.fit_sessions]. Add it, or leave it out.")
    if twice := [table for table in said if table in tables]:
        raise UsageError(f"{place} and [tables.{twice[0]}] both say where the {twice[0]} come from. Leave one out.")
    files = {key: visits[key] for key in _OF_FILES if key in visits}
    if not {"files", "sheets"} & set(files):
        files["files"] = "fit_sessions*"
    return {table: {**files, "columns": dict.fromkeys(_KNOWN[table], spec), "ignore": "*"} for table, spec in said.items()}
