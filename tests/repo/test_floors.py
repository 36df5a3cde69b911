"""Who may import whom, how large a room may be, and what must stand nowhere."""

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FLOORS = ("shared", "etl", "dashboard", "warehouse_demo")
NUMERIC = {"numpy", "scipy", "statsmodels", "pandas", "patsy"}
STANDARD = {"collections", "dataclasses", "warnings", "math", "typing", "functools", "itertools", "contextlib"}
SCREENS = (
    "dashboard/app.py",
    "dashboard/web/bundles.py",
    "dashboard/pages",
    "dashboard/components",
    "dashboard/web/downloads.py",
    "dashboard/web/guard.py",
    "dashboard/web/headers.py",
    "dashboard/web/lean.py",
    "dashboard/web/serving.py",
    "dashboard/report",
)


def modules(*floors: str) -> list[Path]:
    return [path for floor in floors for path in sorted((ROOT / floor).rglob("*.py"))]


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def offenders(paths: list[Path], forbidden: tuple[str, ...]) -> list[str]:
    return [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in paths
        for name in imports(path)
        if any(name == other or name.startswith(other + ".") for other in forbidden)
    ]


@pytest.mark.parametrize(
    ("floor", "forbidden"),
    [
        ("shared", ("etl", "dashboard", "warehouse_demo")),
        ("etl", ("dashboard", "warehouse_demo")),
        ("dashboard/questions", ("dash", "dashboard.pages", "dashboard.components", "dashboard.figures", "etl")),
        ("dashboard/figures", ("dash", "dashboard.pages", "dashboard.components", "shared.warehouse")),
        ("dashboard/pages", ("shared.warehouse", "etl")),
        ("dashboard/components", ("shared.warehouse", "etl", "dashboard.pages")),
    ],
)
def test_a_floor_does_not_look_up(floor: str, forbidden: tuple[str, ...]) -> None:
    assert offenders(modules(floor), forbidden) == []


def test_only_the_warehouse_imports_duckdb() -> None:
    assert offenders(modules(*FLOORS), ("duckdb",)) == ["shared/warehouse.py imports duckdb"]


def test_dash_is_imported_only_by_the_screens() -> None:
    paths = [path for path in modules(*FLOORS) if not str(path.relative_to(ROOT)).startswith(SCREENS)]
    assert offenders(paths, ("dash",)) == []


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


def test_pages_do_not_import_each_other() -> None:
    pages = [folder for folder in (ROOT / "dashboard/pages").iterdir() if folder.is_dir() and folder.name != "__pycache__"]
    for page in pages:
        others = tuple(f"dashboard.pages.{other.name}" for other in pages if other != page)
        assert offenders(sorted(page.rglob("*.py")), others) == []


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


# Each room of the questions, and the rooms that it may lean on.
ROOMS = {
    "memory": (),
    "selection": ("memory",),
    "models": ("memory", "selection"),
    "symmetry": ("selection",),
    "data": ("models", "selection"),
    "coaching": ("memory", "selection", "symmetry"),
    "effects": ("data", "memory", "models", "selection"),
    "returns": ("data", "selection"),
    "studio": ("data", "memory", "selection", "symmetry"),
    "riders": ("coaching", "data", "memory", "selection"),
    "door": ("coaching", "data", "effects", "memory", "returns", "riders", "selection", "studio", "symmetry"),
}


def test_every_room_of_the_questions_is_known() -> None:
    questions = ROOT / "dashboard/questions"
    assert {path.name for path in questions.iterdir() if path.is_dir() and path.name != "__pycache__"} == set(ROOMS)
    assert [path.name for path in questions.glob("*.py")] == ["__init__.py"]


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_leans_on_the_rooms_below_it_only(room: str) -> None:
    others = tuple(f"dashboard.questions.{other}" for other in ROOMS if other != room and other not in ROOMS[room])
    assert offenders(modules(f"dashboard/questions/{room}"), others) == []
