"""The catalogue is a valid data package and agrees with the units of its column names."""

import json

import frictionless
import pytest

from shared.catalogue import Column, Table, catalogue
from shared.catalogue.catalogue import DATAPACKAGE, SQL_TYPES
from shared.units import UNITS, conversion_factor

COLUMNS = [(table, column) for table in catalogue().values() for column in table.columns]


def test_the_data_package_is_valid_for_an_independent_reader() -> None:
    package = frictionless.Package.from_descriptor(json.loads(DATAPACKAGE.read_text(encoding="utf-8")))
    assert [resource.name for resource in package.resources] == list(catalogue())
    for resource in package.resources:
        assert [field.name for field in resource.schema.fields] == list(catalogue()[resource.name].column_names)


@pytest.mark.parametrize(("table", "column"), COLUMNS, ids=lambda value: value.name)
def test_a_column_is_told_whole(table: Table, column: Column) -> None:
    assert column.type in SQL_TYPES
    assert column.description.endswith(".") and len(column.description) > 10
    suffixes = {unit.suffix: name for name, unit in UNITS.items()}
    ending = next((unit for suffix, unit in suffixes.items() if column.name.endswith(suffix)), None)
    if ending:
        assert column.unit == ending
    elif column.unit:
        assert column.unit == "count"


def test_keys_and_references_name_columns() -> None:
    for table in catalogue().values():
        assert set(table.key) <= set(table.column_names)
        assert all(table.column(name).required for name in table.key)
        for reference in table.foreign_keys:
            assert reference.column in table.column_names
            assert catalogue()[reference.table].key == (reference.target,)


def test_signed_quantities_say_what_plus_means() -> None:
    signed = {
        "knee_tilt_deg",
        "knee_offset_mm",
        "forefoot_angle_deg",
        "shims_added",
        "shims_built_in",
        "stance_mm",
        "total_shims",
    }
    assert {column.name for _, column in COLUMNS if column.sign} == signed
    assert all("+ =" in column.sign for _, column in COLUMNS if column.sign)


# Source: the international inch is 25.4 mm and a full turn 360 degrees by definition (SI Brochure, 9th edition, table 8).
@pytest.mark.parametrize(
    ("source", "target", "factor"),
    [("in", "mm", 25.4), ("cm", "mm", 10), ("turn", "deg", 360), ("lb", "kg", 0.45359237)],
)
def test_conversions_are_the_defined_ones(source: str, target: str, factor: float) -> None:
    assert conversion_factor(source, target) == pytest.approx(factor, rel=1e-12)
