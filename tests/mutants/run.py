"""`make mutants`: makes one wrong change at a time and lets the tests of its group run against it. Which notice, which not.

The tests of a group are collected once, and run once to see which lines each of them reaches. For every change a fork of that
process puts the changed code into the loaded function and runs the tests that reach its line, the fastest first, until one
fails: in process, a fraction of a second each. Nothing on disk changes. Results are kept in build/mutants and go into
tests/mutants/mutants.md.
"""

import argparse
import ast
import gc
import json
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from types import CodeType, FrameType, FunctionType
from typing import Any

import pytest

from tests.mutants.changes import Change, changes_of, code_of
from tests.mutants.listing import key_of, write

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
BUILD = ROOT / "build" / "mutants"
GROUPS = HERE / "groups.toml"
# Files that only name things.
UNTRIED = {"__init__.py", "ids.py"}
# Seconds of the processor, so that a busy machine judges alike, while lines are traced, which takes a few times as long: a
# test that takes longer is left out, and a change goes unnoticed once tests of so many have passed. What never ends is noticed.
LONGEST_TEST_S, LONGEST_CHANGE_S, STOPPED_S = 8.0, 8.0, 20


@dataclass
class Reach:
    """What the tests reached when nothing was changed: lines of the modules, functions by their first line, seconds."""

    lines: dict[str, set[tuple[str, int]]] = field(default_factory=lambda: defaultdict(set))
    functions: dict[str, set[tuple[str, int]]] = field(default_factory=lambda: defaultdict(set))
    seconds: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    fixtures: dict[str, list[str]] = field(default_factory=dict)
    failed: list[str] = field(default_factory=list)

    def of_test(self, kind: str, test: str) -> set[tuple[str, int]]:
        """What a test reached, itself or by its fixtures."""
        reached: dict[str, set[tuple[str, int]]] = getattr(self, kind)
        return reached[test].union(*(reached[fixture] for fixture in self.fixtures[test]))

    def cost(self, test: str) -> float:
        return self.seconds[test] + sum(self.seconds[fixture] for fixture in self.fixtures[test])


class Mutating:
    """The plugin of pytest that runs the changes of some modules in place of the tests, once they are collected."""

    def __init__(self, modules: list[Path], most: int, *, again: bool) -> None:
        self.modules, self.most, self.again = modules, most, again
        self.reach, self.at = Reach(), ""

    @pytest.hookimpl
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        _share_warehouses(session)
        self.reach = self._unchanged(session)
        if self.reach.failed:
            sys.stderr.write(f"Left out, since they fail where nothing is changed: {', '.join(self.reach.failed)}\n")
            session.items = [item for item in session.items if item.nodeid not in set(self.reach.failed)]
        items = {item.nodeid: item for item in session.items if self.reach.cost(item.nodeid) <= LONGEST_TEST_S}
        functions = _functions()
        gc.freeze()
        for path in self.modules:
            _keep(path.relative_to(ROOT).as_posix(), list(self._module(path, session, items, functions)))
        return True

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> Iterator[None]:
        before, self.at = self.at, f"{fixturedef.baseid}::{fixturedef.argname}"
        begun = time.process_time()
        try:
            return (yield)
        finally:
            self.reach.seconds[self.at] += time.process_time() - begun
            self.at = before

    def _unchanged(self, session: pytest.Session) -> Reach:
        """What every test reaches: found in a fork, so that nothing is remembered when the changes are tried."""
        told = BUILD / f"reach-{os.getpid()}"
        if (child := os.fork()) == 0:
            _hush(session)
            self._trace(session)
            told.write_bytes(pickle.dumps(self.reach))
            os._exit(0)
        os.waitpid(child, 0)
        reach: Reach = pickle.loads(told.read_bytes())
        told.unlink()
        return reach

    def _trace(self, session: pytest.Session) -> None:
        whole = {str(path) for path in self.modules}
        prefix = str(ROOT)

        def lines(frame: FrameType, event: str, _: object) -> Any:
            if event == "line":
                self.reach.lines[self.at].add((frame.f_code.co_filename, frame.f_lineno))
            return lines

        def calls(frame: FrameType, _event: str, _: object) -> Any:
            name = frame.f_code.co_filename
            if not name.startswith(prefix):
                return None
            self.reach.functions[self.at].add((name, frame.f_code.co_firstlineno))
            return lines if name in whole else None

        for at, item in enumerate(session.items):
            self.at = item.nodeid
            self.reach.fixtures[item.nodeid] = [
                f"{found[-1].baseid}::{name}" for name, found in item._fixtureinfo.name2fixturedefs.items()
            ]
            begun, fixtures = time.process_time(), sum(self.reach.seconds[each] for each in self.reach.fixtures[item.nodeid])
            sys.settrace(calls)
            threading.settrace(calls)
            following = session.items[at + 1] if at + 1 < len(session.items) else None
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            sys.settrace(None)
            spent = sum(self.reach.seconds[each] for each in self.reach.fixtures[item.nodeid]) - fixtures
            self.reach.seconds[item.nodeid] = time.process_time() - begun - spent
            if session.testsfailed:
                self.reach.failed.append(item.nodeid)
                session.testsfailed = 0

    def _module(
        self, path: Path, session: pytest.Session, items: dict[str, pytest.Item], functions: list[FunctionType]
    ) -> Iterator[dict[str, Any]]:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        own = [each for each in functions if each.__code__.co_filename == str(path)]
        for change, known in self._chosen(changes_of(tree), path):
            ended = known or self._try(change, tree, path, session, items, own, functions)
            yield {"function": change.function, "line": change.line, "change": change.told, "ended": ended}

    def _chosen(self, changes: list[Change], path: Path) -> list[tuple[Change, str]]:
        """So many of a module's changes; or those of last time, each with how it ended where that is not to be tried again."""
        if self.again:
            last, to_try, chosen = {key_of(each): each["ended"] for each in _last(path)}, _open(path), []
            for change in changes:
                key = f"{change.function}: {change.told}"
                if key in last:
                    chosen.append((change, "" if key in to_try else last[key]))
                    del last[key]
            return chosen
        stride = max(1, -(-len(changes) // self.most))
        return [(change, "") for change in changes[stride // 2 :: stride]]

    def _try(
        self,
        change: Change,
        tree: ast.Module,
        path: Path,
        session: pytest.Session,
        items: dict[str, pytest.Item],
        own: list[FunctionType],
        functions: list[FunctionType],
    ) -> str:
        tests = self._reaching(change, path, items, functions, tree)
        if not tests:
            return "not reached"
        change.make()
        try:
            patched = _put_function(change, tree, path, own) if change.function else _put_constants(tree, path)
        finally:
            change.take_back()
        if not patched:
            return "not tried"
        if (child := os.fork()) == 0:
            _run(session, tests, patched)
        _, status = os.waitpid(child, 0)
        return "unnoticed" if status == 0 else "noticed"

    def _reaching(
        self, change: Change, path: Path, items: dict[str, pytest.Item], functions: list[FunctionType], tree: ast.Module
    ) -> list[pytest.Item]:
        """The tests that reach a change, then others of their files, for what is remembered from the first test on."""
        first = self._of_places(items, "lines", {(str(path), change.line)}) if change.function else []
        if not first:
            # Constants are no lines of their own when they run: the tests of the functions that hold or name them.
            names = _bound_at(tree, change.line)
            codes = [each.__code__ for each in functions]
            own = [each for each in codes if (each.co_filename, each.co_qualname) == (str(path), change.function)]
            named = own or [each for each in codes if names & _names_in(each)]
            first = self._of_places(items, "functions", {(each.co_filename, each.co_firstlineno) for each in named})
        files = {test.partition("::")[0] for test in first}
        second = [test for test in items if test.partition("::")[0] in files and test not in set(first)]
        chosen, whole, paid = [], 0.0, set[str]()
        for ring, most in ((first, LONGEST_CHANGE_S), (second, LONGEST_CHANGE_S / 4)):
            for test in sorted(ring, key=self.reach.cost):
                fixtures = set(self.reach.fixtures[test]) - paid
                whole += self.reach.seconds[test] + sum(self.reach.seconds[each] for each in fixtures)
                paid |= fixtures
                if whole > most and chosen:
                    break
                chosen.append(items[test])
        return chosen

    def _of_places(self, items: dict[str, pytest.Item], kind: str, places: set[tuple[str, int]]) -> list[str]:
        return [test for test in items if places & self.reach.of_test(kind, test)]


def _bound_at(tree: ast.Module, line: int) -> set[str]:
    for statement in tree.body:
        if statement.lineno <= line <= (statement.end_lineno or 0):
            return {node.id for node in ast.walk(statement) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
    return set()


def _names_in(code: CodeType) -> set[str]:
    return set(code.co_names).union(*(_names_in(each) for each in code.co_consts if isinstance(each, CodeType)))


def _functions() -> list[FunctionType]:
    """Every function of the project that is loaded."""
    rooms = tuple(f"{ROOT}/{name}/" for name in ("shared", "etl", "dashboard", "warehouse_demo", "tests"))
    return [each for each in gc.get_objects() if isinstance(each, FunctionType) and each.__code__.co_filename.startswith(rooms)]


def _put_function(change: Change, tree: ast.Module, path: Path, own: list[FunctionType]) -> Any:
    """What puts the changed code into each loaded copy of the function; nothing where none is loaded."""
    code = code_of(tree, str(path), change.function)
    copies = [each for each in own if each.__code__.co_qualname == change.function]
    return [(each, code) for each in copies]


def _put_constants(tree: ast.Module, path: Path) -> Any:
    return compile(tree, str(path), "exec")


def _run(session: pytest.Session, tests: list[pytest.Item], patched: Any) -> None:
    """In the fork: the change is put in, and the tests run; ends with 1 as soon as one fails, or by the alarm."""
    signal.setitimer(signal.ITIMER_PROF, STOPPED_S)
    signal.alarm(10 * STOPPED_S)
    _hush(session)
    try:
        if isinstance(patched, CodeType):
            _replace_constants(patched)
        else:
            for function, code in patched:
                function.__code__ = code
        for at, item in enumerate(tests):
            following = tests[at + 1] if at + 1 < len(tests) else None
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if session.testsfailed:
                os._exit(1)
    except BaseException:
        os._exit(1)
    os._exit(0)


def _hush(session: pytest.Session) -> None:
    """A fork reports nothing: what it found is how it ends."""
    session.config.get_terminal_writer()._file = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115


def _replace_constants(code: CodeType) -> None:
    """Runs a module again beside itself, and puts every constant that came out otherwise wherever the old one is named."""
    module = next(each for each in list(sys.modules.values()) if getattr(each, "__file__", None) == code.co_filename)
    fresh = {name: value for name, value in vars(module).items() if name.startswith("__")}
    exec(code, fresh)
    for name, old in list(vars(module).items()):
        new = fresh.get(name)
        if name.startswith("__") or callable(old) or repr(old) == repr(new):
            continue
        for other in list(sys.modules.values()):
            for there, value in list(vars(other).items()) if hasattr(other, "__dict__") else ():
                if value is old and (there == name or not isinstance(old, str | int | float)):
                    vars(other)[there] = new
        if isinstance(old, dict):
            with suppress(TypeError):
                old.clear()
                old.update(new)


# The warehouses that tests share, and how each is made.
_SHARED: dict[str, str] = {
    "demo_warehouse": "import etl.load, warehouse_demo; etl.load.load([warehouse_demo.EXPORTS], path)",
    "hand_studio": "from tests.told.hand_studio import make; make(path)",
}


def _share_warehouses(session: pytest.Session) -> None:
    """Each is loaded once, in a process of its own, for all changes."""
    rooms = ("shared", "etl", "warehouse_demo", "tests/told")
    newest = max(source.stat().st_mtime for room in rooms for source in (ROOT / room).rglob("*.*"))
    for name, make in _SHARED.items():
        known = {found for item in session.items for found in item._fixtureinfo.name2fixturedefs.get(name, ())}
        path = BUILD / f"{name}.duckdb"
        if known and not (path.exists() and path.stat().st_mtime > newest):
            path.unlink(missing_ok=True)
            script = f"import sys, pathlib; path = pathlib.Path(sys.argv[1]); {make}"
            subprocess.run([sys.executable, "-c", script, path], check=True, cwd=ROOT)
        for definition in known:
            definition.func, definition.argnames = partial(Path, path), ()


def main() -> None:
    """Tries the changes of the named groups (all of them without a name) and writes the list anew."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("groups", nargs="*", help="groups of groups.toml, or modules of one by their path; all without")
    parser.add_argument("--most", type=int, default=40, help="changes of a module; of more, every so many-th is tried")
    parser.add_argument("--again", action="store_true", help="of modules tried before, only what went unnoticed")
    parser.add_argument("--list", action="store_true", help="write the list only")
    given = parser.parse_args()
    BUILD.mkdir(parents=True, exist_ok=True)
    groups = tomllib.loads(GROUPS.read_text(encoding="utf-8"))
    for name, group in groups.items() if not given.list else ():
        modules = [path for pattern in group["modules"] for path in sorted(ROOT.glob(pattern)) if path.name not in UNTRIED]
        if given.groups and name not in given.groups:
            modules = [path for path in modules if path.relative_to(ROOT).as_posix() in given.groups]
        if given.again:
            modules = [path for path in modules if _open(path)]
        if modules and (child := os.fork()) == 0:
            _group(modules, group["tests"], given)
        elif modules:
            os.waitpid(child, 0)
    write(BUILD, HERE)


def _group(modules: list[Path], tests: list[str], given: argparse.Namespace) -> None:
    """One group, in a process of its own."""
    files = [str(path) for each in tests for path in sorted(ROOT.glob(each))]
    pytest.main(
        ["-q", "--no-header", "--tb=no", "--assert=plain", *files], plugins=[Mutating(modules, given.most, again=given.again)]
    )
    os._exit(0)


def _keep(module: str, changes: list[dict[str, Any]]) -> None:
    """What a module's changes came to, in a file of its own."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True).stdout.strip()
    text = json.dumps({"module": module, "commit": commit, "changes": changes}, ensure_ascii=False, indent=1)
    _file_of(module).write_text(text, encoding="utf-8")


def _last(path: Path) -> list[dict[str, str]]:
    """A module's changes when it was last tried; none where it never was."""
    kept = _file_of(path.relative_to(ROOT).as_posix())
    changes: list[dict[str, str]] = json.loads(kept.read_text(encoding="utf-8"))["changes"] if kept.exists() else []
    return changes


def _open(path: Path) -> set[str]:
    """Those that nothing noticed, and that make a difference."""
    reasons = tomllib.loads((HERE / "reasons.toml").read_text(encoding="utf-8")).get(path.relative_to(ROOT).as_posix(), {})
    return {key_of(each) for each in _last(path) if each["ended"] in ("unnoticed", "not reached")} - set(reasons)


def _file_of(module: str) -> Path:
    return BUILD / f"{module.replace('/', '.')}.json"


if __name__ == "__main__":
    main()
