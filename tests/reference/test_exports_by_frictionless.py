"""An independent reader of the Table Schema standard validates the demo exports against the published package.

Source: the Frictionless standard, Table Schema version 1, as the `frictionless` library implements it. It must accept every
row that the loader stores, and object to every row that the loader rejects for a reason that Table Schema can express.
"""

import json
from pathlib import Path

import frictionless
import pandas as pd
import pytest

from etl.load import load
from shared.catalogue import catalogue
from shared.catalogue.catalogue import DATAPACKAGE
from warehouse_demo import EXPORTS
from warehouse_demo.simulate import simulate, write_exports
from warehouse_demo.truth import load_truth

# Rules of the contract beyond Table Schema: they compare with the day of the load, with another cell, or across loads.
BEYOND = {"attended_date", "booked_order", "no_outcome", "date", "orphan", "duplicate_key"}
CSV_FILES = sorted(EXPORTS.glob("*.csv"))


def schema_of(table: str) -> frictionless.Schema:
    """The published schema of one table; references go between tables, so they are checked on whole packages below."""
    package = json.loads(DATAPACKAGE.read_text(encoding="utf-8"))
    published = next(r["schema"] for r in package["resources"] if r["name"] == table)
    return frictionless.Schema.from_descriptor({key: value for key, value in published.items() if key != "foreignKeys"})


def faulty_lines(path: Path, table: str) -> set[int]:
    resource = frictionless.Resource(path.name, basepath=str(path.parent), schema=schema_of(table))
    report = frictionless.validate(resource)
    return {error.row_number for task in report.tasks for error in task.errors if hasattr(error, "row_number")}


@pytest.fixture(scope="module")
def rejected(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, int, str]]:
    report = load([EXPORTS], tmp_path_factory.mktemp("w") / "w.duckdb")
    return [(finding.file, finding.line, finding.rule) for finding in report.findings]


@pytest.mark.parametrize("path", CSV_FILES, ids=lambda path: path.name)
def test_both_readers_object_to_the_same_rows(path: Path, rejected: list[tuple[str, int, str]]) -> None:
    table = next(name for name in catalogue() if path.name.startswith(name))
    ours = {line for file, line, _ in rejected if file == path.name}
    expressible = {line for file, line, rule in rejected if file == path.name and rule not in BEYOND}
    theirs = faulty_lines(path, table)
    quoted_breaks = table == "fit_sessions"  # this reader counts rows, not lines, after a line break inside quotes
    if quoted_breaks:
        assert len(theirs) <= len(ours) and len(theirs) >= len(expressible)
    else:
        assert theirs <= ours
        assert expressible <= theirs


def test_clean_exports_are_valid_with_their_keys(tmp_path: Path) -> None:
    tables = simulate(load_truth(), 3, riders=40)
    write_exports(tables, tmp_path)
    merged = pd.concat([pd.read_csv(path, dtype=str) for path in sorted(tmp_path.glob("knee_captures-*.csv"))])
    for path in tmp_path.glob("knee_captures-*"):
        path.unlink()
    merged.to_csv(tmp_path / "knee_captures.csv", index=False)
    package = json.loads(DATAPACKAGE.read_text(encoding="utf-8"))
    (tmp_path / "datapackage.json").write_text(json.dumps(package), encoding="utf-8")
    report = frictionless.Package(str(tmp_path / "datapackage.json")).validate()
    assert report.valid, report.flatten(["fieldName", "rowNumber", "message"])[:5]
