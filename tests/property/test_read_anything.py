"""Any bytes are read whole or refused; what is written in any dialect is read back cell by cell with its lines."""

import csv
import io
import json
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from etl.read import expand, find_files, lines_of, open_source, source_relation
from shared.errors import UsageError
from shared.toml_file import MOST_DEPTH, MOST_KEY_PARTS, parse_toml
from shared.warehouse import Warehouse
from tests.fuzz.reading import check_sentence, forget_ragged, map_anything, read_anything, sheet_anything

QUICK = settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
CSV_BYTES = st.lists(
    st.sampled_from(["rider_id", "sex", ",", ";", "\t", "\n", "\r\n", "\r", '"', '""', " ", "a", "é", "\ufeff", "1", "=", "'"]),
    max_size=60,
).map("".join)
CELL = st.text(st.characters(codec="cp1252", exclude_characters="\x00\r"), max_size=8)
SHEET_PARTS = [
    "<row>", '<row r="2">', "</row>", '<c r="A1"', '<c r="b3"', "<c", ' t="e"', ' t="str"', ' t="s"', ' s="1"', ">", "</c>",
    "<v>1e999</v>", "<v>rider_id</v>", "<v>45000.5</v>", "<v>", "</v>", "<f>1+1</f>", "<f/>", "<!-- -->", "&amp;", "&x;", "]]>",
    "<is><t>x</t></is>", '<row r="99999999">', '<c r="ZZZZ9">', '<c r="A0">', "<![CDATA[",
]  # fmt: skip
TOML_PARTS = [
    "a", "b.c", ".a", ".a.a.a.a.a", "'a'.", '"b" . ', " = ", "1", "1.5", "=1\n", '"', "'", '"""', "'" * 3, "\\", '\\"', "#",
    "\n", "\r\n", "\r", "[", "]", "[[", "]]", "{", "}", ", ", "[[[[[[", "]]]]]]", "{a = ", "x = [", "é", "\t", "\ufeff",
    'k = "v"\n', "[t]\n", "t.u = 2\n",
]  # fmt: skip
HEAD = ["rider_id", "birth_year", "sex"]


@pytest.fixture(scope="module")
def warehouse() -> Warehouse:
    from shared.warehouse import in_memory

    return in_memory()


@QUICK
@given(CSV_BYTES, st.sampled_from(["utf-8", "utf-16", "cp1252"]))
@example('rider_id,sex\nR1,"a\nb"x,"c\nd"\n', "utf-8")
@example("rider_id,sex\n,\n", "utf-8")
@example('rider_id,sex,birth_year\nR1,"i\nb*\r\nR1,c"1,"x\x12d"y,1,2\n', "utf-8")
def test_any_text_is_read_whole_or_refused(warehouse: Warehouse, text: str, encoding: str) -> None:
    read_anything("riders.csv", text.encode(encoding, errors="replace"), warehouse)


@QUICK
@given(st.lists(CSV_BYTES, max_size=6))
@example(["", "", "", "rider_id", ","])
@example(["1,2", "", "", "x", "3,4", "", "y", "5,6"])
def test_any_rows_under_a_sound_header_are_read_whole_or_refused(warehouse: Warehouse, lines: list[str]) -> None:
    read_anything("riders.csv", "\n".join(["rider_id,sex", *lines]).encode(), warehouse)


@QUICK
@given(st.binary(max_size=200), st.sampled_from(["csv", "csv.gz", "jsonl", "parquet", "xlsx", "zip", "txt"]))
def test_any_bytes_are_read_whole_or_refused(warehouse: Warehouse, data: bytes, form: str) -> None:
    read_anything(f"riders.{form}", data, warehouse)


@QUICK
@given(
    st.lists(
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
            lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(["rider_id", "sex", " a"]), inner),
            max_leaves=4,
        ),
        max_size=5,
    )
)
def test_any_json_is_read_whole_or_refused(warehouse: Warehouse, values: list[object]) -> None:
    read_anything("riders.jsonl", "\n".join(json.dumps(value) for value in values).encode(), warehouse)


@QUICK
@given(
    st.text(max_size=200)
    | st.lists(
        st.sampled_from(
            [
                "[tables.knee_captures]\n",
                "[tables.knee_captures.columns]\n",
                "[[tables.knee_captures.each]]\n",
                "[form]\n",
                "[tables.knee_captures.log.columns]\n",
                'session_id = "a"\n',
                'side = { value = "left" }\n',
                'files = "*"\n',
                'knee_tilt_deg = { from = "b", unit = "rad", flip = "left" }\n',
                'capture_no = { from = ["a", "b"] }\n',
                'decimal = ","\n',
                'date_form = "%d"\n',
                'captured_at = "c"\n',
                'knee_sway_mm = { from = "c", unit = "in", adds = true }\n',
                'where = { a = ["x"] }\n',
                'ignore = "b"\n',
                "skip_lines = 1\n",
            ]
        ),
        max_size=12,
        unique=True,
    ).map("".join)
)
def test_any_mapping_is_taken_or_refused(warehouse: Warehouse, mapping: str) -> None:
    map_anything(mapping.encode(errors="replace"), "knee_captures.csv", b"a,b,c\nx,1,2\ny,2.5,\n", warehouse)  # fmt: skip


def _depth(value: object) -> int:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + max(map(_depth, inner), default=0) if isinstance(value, dict | list) else 0


@QUICK
@given(st.lists(st.sampled_from(TOML_PARTS), max_size=40).map("".join) | st.text(max_size=60))
@example('a = """x""""\nb' + ".b" * 16 + " = 1")
@example("a = ###x####".replace("#", "'") + "\n" + "[" * 17)
@example('a = "\\"" # "\n' + "x." * 16 + "x = 1")
def test_any_toml_is_taken_as_the_library_takes_it_or_refused(text: str) -> None:
    """The look at dots and brackets hides nothing from the bounds, and takes no sound file for a deep one."""
    sent = text.encode(errors="replace")
    try:
        expected = tomllib.loads(sent.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        expected = None
    try:
        assert parse_toml(sent, "X") == expected
        assert expected is not None
        assert _depth(expected) <= MOST_KEY_PARTS + MOST_DEPTH
    except UsageError as words:
        check_sentence(str(words))
        assert expected is None or _depth(expected) > min(MOST_KEY_PARTS, MOST_DEPTH)


@QUICK
@given(st.lists(st.sampled_from(SHEET_PARTS), max_size=20).map("".join))
@example('<row r="1"><c r="A1" t="str"><v>rider_id</v></c></row><row r="0"><c r="A0"><v>1</v></c></row>')
def test_any_sheet_is_read_whole_or_refused(warehouse: Warehouse, xml: str) -> None:
    sheet_anything(xml, warehouse)


@QUICK
@given(
    rows=st.lists(st.tuples(CELL, CELL, CELL), max_size=8),
    separator=st.sampled_from(",;\t"),
    end=st.sampled_from(["\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    quoting=st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL]),
)
def test_what_is_written_in_any_dialect_is_read_back(
    warehouse: Warehouse, tmp_path_factory: pytest.TempPathFactory,
    rows: list[tuple[str, str, str]], separator: str, end: str, encoding: str, quoting: int,
) -> None:  # fmt: skip
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, lineterminator=end, quoting=quoting)  # type: ignore[arg-type]
    starts = []
    for row in [HEAD, *rows]:
        starts.append(1 + text.getvalue().replace("\r\n", "\n").replace("\r", "\n").count("\n"))
        writer.writerow(row)
    folder = tmp_path_factory.mktemp("x")
    (folder / "riders.csv").write_bytes(text.getvalue().encode(encoding))
    source = opened(folder / "riders.csv", folder, warehouse)
    forget_ragged(warehouse)
    relation, parameters = source_relation(source, HEAD)
    read = [tuple(row.values()) for row in warehouse.rows(relation, parameters)]
    assert read == [tuple(cell.strip(" \t") or None for cell in row) for row in rows]
    lines = lines_of(source, set(range(1, len(rows) + 1)), set())
    assert list(lines.values()) == starts[1:]


def opened(path: Path, scratch: Path, warehouse: Warehouse):  # type: ignore[no-untyped-def]
    (part,) = expand(find_files([path]), scratch)
    return open_source(part, scratch, warehouse)
