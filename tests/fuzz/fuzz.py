"""Coverage-guided fuzzing of readers and mappings: `make fuzz SECONDS=60`.

Atheris is no dependency of the project: it has wheels for few platforms. `make fuzz` installs it beside the environment.
What it finds becomes an ordinary test in tests/spec/test_read_found.py.
"""

import sys
import tempfile
from datetime import date
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["etl", "shared.units", "shared.catalogue"]):
    import etl.load  # noqa: F401, instruments every module below it
    from shared.warehouse import in_memory
    from tests.fuzz.reading import map_anything, read_anything, sheet_anything
    from tests.spec.workbook import sheet_xml

FORMS = ("csv", "csv", "csv", "csv.gz", "jsonl", "xlsx", "zip", "parquet", "txt")
SAMPLES = Path(__file__).parents[2] / "etl" / "mappings"
CAPTURES = b'a,b,c,side,capture_no\nx,1,2,left,1\ny,"2,5",,RIGHT,2\n'
WAREHOUSE = in_memory()


def try_one(data: bytes) -> None:
    """The first byte chooses what is fuzzed; the rest is the file or the mapping."""
    kind, content = (data[0], data[1:]) if data else (0, b"")
    if kind % 4 == 3:
        sheet_anything(content.decode(errors="replace"), WAREHOUSE)
    elif kind % 4 == 2:
        map_anything(content, "knee_captures.csv", CAPTURES, WAREHOUSE)
    elif kind % 4 == 1:
        read_anything("riders.csv", b"rider_id,sex,birth_year\n" + content, WAREHOUSE)
    else:
        read_anything(f"riders.{FORMS[kind // 4 % len(FORMS)]}", content, WAREHOUSE)


def seeds() -> Path:
    """The worked samples and mappings as first inputs."""
    folder = Path(tempfile.mkdtemp())
    for path in sorted(SAMPLES.rglob("*")):
        if path.is_file():
            form = path.name.partition(".")[2]
            kind = 2 if path.suffix == ".toml" else 4 * FORMS.index(form if form in FORMS else "csv")
            (folder / f"{path.parent.name}-{path.name}").write_bytes(bytes([kind]) + path.read_bytes())
    (folder / "sheet").write_text("\x03" + sheet_xml([["rider_id", "birth_year"], ["R1", 1980.5], [date(2026, 1, 2), True]]))
    (folder / "quotes").write_bytes(b'\x01R1,"a\nb"\r\nR2,c"d,1\r"x"y,1,2\n')
    return folder


if __name__ == "__main__":
    atheris.Setup([*sys.argv, str(seeds()), "-timeout=20", "-rss_limit_mb=2500", "-max_len=8000"], try_one)
    atheris.Fuzz()
