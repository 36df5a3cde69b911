"""What a long simulation rests on: the digest of the modules that it runs, so that a table cannot outlive its code."""

import ast
import hashlib
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).parent.parent


def code_of(path: Path) -> str:
    """The lines of a module that do something: without docstrings, comment lines and empty lines. The same on every Python."""
    text = path.read_text(encoding="utf-8")
    lines = text.splitlines()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0] if node.body else None
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str):
                for number in range(first.lineno - 1, first.end_lineno or first.lineno):
                    lines[number] = ""
    return "\n".join(line for line in lines if line.strip() and not line.lstrip().startswith("#"))


def reached(start: str, below: str) -> list[str]:
    """The modules below a folder that a module imports, itself or through others of the project, from the project's root."""
    seen: set[Path] = set()
    waiting = [ROOT / start]
    while waiting:
        path = waiting.pop()
        if path not in seen:
            seen.add(path)
            waiting += _imported(path)
    return sorted(name for name in (path.relative_to(ROOT).as_posix() for path in seen) if name.startswith(f"{below}/"))


def _imported(path: Path) -> Iterable[Path]:
    """The project's modules that a module names in its imports, wherever they stand in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        for name in names:
            module = ROOT / name.replace(".", "/")
            yield from (one for one in (module.with_suffix(".py"), module / "__init__.py") if one.exists())


def digest(*places: str) -> str:
    """Twelve hex digits over the code of modules and folders, given from the project's root."""
    total = hashlib.sha256()
    for path in sorted(set(_modules(places))):
        total.update(f"{path.relative_to(ROOT).as_posix()}\n{code_of(path)}\n".encode())
    return total.hexdigest()[:12]


def _modules(places: Iterable[str]) -> Iterable[Path]:
    for place in places:
        path = ROOT / place
        if not path.exists():
            raise FileNotFoundError(f"{place} is not in the project")
        yield from [path] if path.is_file() else path.rglob("*.py")
