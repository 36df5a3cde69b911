"""TOML from outside is bounded before it is parsed, wherever it is read; what is wrong is told in a few sentences."""

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from etl.load import load
from etl.mapping import load_mapping, parse_mapping
from etl.read import FoundFile, find_files
from etl.received import received_files
from shared.errors import UsageError
from shared.settings import load_settings
from shared.toml_file import MOST_BYTES, MOST_FAULTS, parse_toml

ROOT = Path(__file__).parents[2]
DOTS = "a" + ".a" * 200_000 + "=1"
SHORT_DOTS = "a" + ".a" * 8_000 + "=1"
HOSTILE = {
    "dots": (DOTS, "is larger than 100,000 bytes"),
    "fewer dots": (SHORT_DOTS, "line 1, found a key of more than 16 parts"),
    "dots with blanks": ("x = 1\n[" + "'a' . \"b\"\t." * 3_000 + "c]", "line 2, found a key of more than 16 parts"),
    "many keys of dots": ("\n".join(f"k{n}{'.a' * 990} = 1" for n in range(40)), "found a key of more than 16 parts"),
    "arrays": ("a = " + "[" * 40_000, "found more than 16 brackets within one another"),
    "tables": ("a = " + "{a=" * 30_000, "found more than 16 brackets within one another"),
    "digits": ("a = " + "9" * 90_000, "is not TOML that can be read"),
    "no end": ('a = "' + "\\" * 90_000, "is not TOML"),
    "unknown keys": ("\n".join(f"k{n}=1" for n in range(10_000)), "There is more of this kind"),
    "unknown tables": ("\n".join(f"[tables.t{n}]" for n in range(5_000)), "There is more of this kind"),
    "a long key": ("k" * 90_000 + " = 1", "is no key of a mapping"),
}


def test_a_hostile_mapping_needs_neither_time_nor_memory() -> None:
    """All of them within a gigabyte of address space, of which the imports take half."""
    code = (
        "import json, resource, sys; from etl.mapping import parse_mapping; from shared.errors import UsageError\n"
        "resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))\n"
        "for text in json.load(sys.stdin):\n"
        "    try: parse_mapping(text.encode(), 'm.toml'); print('taken')\n"
        "    except UsageError as words: print(str(words).replace(chr(10), ' '))\n"
        # Not ru_maxrss, which begins at that of the process that started this one.
        "print(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], input=json.dumps([text for text, _ in HOSTILE.values()]), cwd=ROOT, capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    *told, peak_kb = ran.stdout.splitlines()
    for words, (name, (_, expected)) in zip(told, HOSTILE.items(), strict=True):
        assert expected in words, name
        assert words.startswith("Mapping m.toml")
        assert len(words) < 10_000, name
    assert int(peak_kb) < 300_000


def test_dots_and_brackets_in_texts_and_comments_are_no_structure() -> None:
    dots, brackets = "a." * 100, "[" * 100
    text = "\n".join(
        [
            f'a = "{dots}{brackets}" # {dots}{brackets}',
            f"b = '{dots}\\'",
            f'c = """{dots}\n{brackets} \\""" " ""x"""""',
            f"d = '''{dots}\n{brackets}''''",
            'e = { "x.y" = [1.5, 2.5, 1979-05-27T07:32:00.999], z.w = [[1], [2]] }',
            f"f = [{'1.5, ' * 1000}]",
            "[g.h.i]",
        ]
    )
    content = parse_toml(text.encode(), "X")
    assert content["e"]["z"] == {"w": [[1], [2]]}
    assert content["c"].endswith('" ""x""')
    assert len(content["f"]) == 1000


def test_a_byte_order_mark_is_no_fault_and_no_text_is() -> None:
    assert parse_toml("\ufeffa = 1".encode(), "X") == {"a": 1}
    with pytest.raises(UsageError, match=r"X is not TOML: 'utf-8' codec .* Save it as UTF-8\."):
        parse_toml(b"a = '\xff'", "X")
    with pytest.raises(UsageError, match="X is not TOML: "):
        parse_toml(b"a = '\x00'", "X")


def test_what_is_no_plain_file_is_told_and_never_waited_for(tmp_path: Path) -> None:
    pipe, folder, gone = tmp_path / "pipe.toml", tmp_path / "folder.toml", tmp_path / "gone.toml"
    os.mkfifo(pipe)
    folder.mkdir()
    gone.symlink_to(tmp_path / "nowhere")
    for read in (load_mapping, load_settings):
        for path in (pipe, folder, Path("/dev/zero")):
            with pytest.raises(UsageError, match="is no plain file but a folder, a pipe or a device"):
                read(path)
        with pytest.raises(UsageError, match="was not found"):
            read(gone)


def test_every_reader_of_toml_has_the_bound(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bomb, row = SHORT_DOTS.encode(), b"rider_id\nR1\n"
    folder = tmp_path / "x"
    folder.mkdir()
    (folder / "riders.csv").write_bytes(row)
    (folder / "mapping.toml").write_bytes(bomb)
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as archive:
        archive.writestr("riders.csv", row)
        archive.writestr("mapping.toml", bomb)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "fitledger.toml").write_bytes(bomb)
    readers = {
        "folder": lambda: find_files([folder]),
        "option": lambda: find_files([folder / "riders.csv"], folder / "mapping.toml"),
        "archive": lambda: load([tmp_path / "x.zip"], tmp_path / "w.duckdb"),
        "upload": lambda: received_files([("mapping.toml", folder / "mapping.toml"), ("riders.csv", folder / "riders.csv")]),
        "settings": load_settings,
    }
    for reader in readers.values():
        with pytest.raises(UsageError, match="found a key of more than 16 parts"):
            reader()
    (folder / "mapping.toml").unlink()
    (folder / "mapping.toml").symlink_to(folder)
    with pytest.raises(UsageError, match="is no plain file"):
        find_files([folder])


def test_a_wrong_file_is_told_in_a_few_sentences(tmp_path: Path) -> None:
    path = tmp_path / "fitledger.toml"
    path.write_text("\n".join(f"k{n} = 1" for n in range(5000)), encoding="utf-8")
    with pytest.raises(UsageError) as refused:
        load_settings(path)
    assert str(refused.value).count("is no setting") == MOST_FAULTS
    path.write_text(f'[knee]\nside_difference_deg = "{"x" * 50_000}"\n', encoding="utf-8")
    with pytest.raises(UsageError) as refused:
        load_settings(path)
    assert len(str(refused.value)) < 400
    with pytest.raises(UsageError, match="is larger than"):
        parse_mapping(b"#" * (MOST_BYTES + 1), "m.toml")


def test_a_mapping_names_a_file_by_its_own_name_too(tmp_path: Path) -> None:
    text = '[tables.riders]\nfiles = ["Re\u0301sum\u00e9 [2].csv"]\n'
    mapping = parse_mapping(text.encode(), "m.toml")
    (tmp_path / "R\u00e9sume\u0301 [2].csv").write_bytes(b"rider_id\nR1\n")
    (tmp_path / "r\u00e9sum\u00e9 2.csv").write_bytes(b"rider_id\nR2\n")
    found = [FoundFile(file.path, file.name, mapping=mapping) for file in find_files([tmp_path])]
    report = load(found, tmp_path / "w.duckdb")
    assert {file.file: file.stored for file in report.files if file.table} == {
        "R\u00e9sume\u0301 [2].csv": 1, "r\u00e9sum\u00e9 2.csv": 1,
    }  # fmt: skip
