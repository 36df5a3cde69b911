"""Who may import whom, how large a room may be, and what must stand nowhere."""

import ast
import logging
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

ROOT = Path(__file__).resolve().parents[2]
FLOORS = ("shared", "etl", "dashboard", "warehouse_demo")
NUMERIC = {"numpy", "scipy", "statsmodels", "pandas", "patsy"}
STANDARD = {"collections", "dataclasses", "warnings", "math", "typing", "functools", "itertools", "contextlib"}


def modules(*floors: str) -> list[Path]:
    return [path for floor in floors for path in sorted((ROOT / floor).rglob("*.py"))]


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


@pytest.fixture
def loggers_left_alone() -> Iterator[None]:
    """import-linter sets logging up anew, which turns off every logger that is there already."""
    before = [one for one in logging.Logger.manager.loggerDict.values() if isinstance(one, logging.Logger) and not one.disabled]
    yield
    for one in before:
        one.disabled = False


@pytest.mark.usefixtures("loggers_left_alone")
def test_every_import_keeps_to_the_contracts_of_floors_and_rooms(capsys: pytest.CaptureFixture[str]) -> None:
    status = lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True)
    assert status == EXIT_STATUS_SUCCESS, capsys.readouterr().out


def test_statistics_import_only_numeric_libraries() -> None:
    allowed = NUMERIC | STANDARD | {"shared"}
    names = [
        f"{path.name} imports {name}"
        for path in modules("shared/statistics")
        for name in imports(path)
        if name.split(".")[0] not in allowed
        or (name.startswith("shared") and not name.startswith(("shared.errors", "shared.statistics")))
    ]
    assert names == []


def test_rooms_keep_their_size() -> None:
    large = [
        f"{path.relative_to(ROOT)}: {n} lines"
        for path in modules(*FLOORS)
        if (n := len(path.read_text("utf-8").splitlines())) > 350
    ]
    assert large == []


def test_functions_read_in_one_breath() -> None:
    long = [
        f"{path.relative_to(ROOT)} {node.name}: {node.end_lineno - node.lineno + 1} lines"
        for path in modules(*FLOORS)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.end_lineno and node.end_lineno - node.lineno + 1 > 60
    ]
    assert long == []


def test_sql_states_its_grain() -> None:
    files = [path for floor in FLOORS for path in sorted((ROOT / floor).rglob("*.sql"))]
    assert files
    silent = [
        str(path.relative_to(ROOT))
        for path in files
        if not re.match(r"-- (Makes|Adds|Answers|Removes|Fragment)\b", path.read_text("utf-8"))
        or ("Grain" not in path.read_text("utf-8") and not path.read_text("utf-8").startswith(("-- Fragment", "-- Removes")))
    ]
    assert silent == []


def test_no_final_select_hides_its_columns() -> None:
    files = [path for floor in FLOORS for path in (ROOT / floor).rglob("*.sql")]
    assert [path.name for path in files if re.search(r"SELECT\s+\*", path.read_text("utf-8"))] == []


def test_no_machine_path_and_no_registry_stand_in_the_tree() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    wanted = re.compile(r"(?<![\w.])/(?:work|root|home/\w+|tmp)/|pypi\.org|registry\.npmjs|deb\.debian")
    found = []
    for name in listed.stdout.splitlines():
        path = ROOT / name
        if (
            path.suffix in {".py", ".md", ".toml", ".txt", ".lock", ".sql", ".css", ".json", ".html", ""}
            and path.is_file()
            and path != Path(__file__)
        ):
            found += [
                f"{name}: {line.strip()[:80]}"
                for line in path.read_text("utf-8", errors="replace").splitlines()
                if wanted.search(line)
            ]
    assert found == []
