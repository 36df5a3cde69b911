"""Kept views: names that accounts gave to addresses of the dashboard, in a file beside the warehouse, its owner's alone.

An address holds the words of a selection and never a rider or a fit; a name is free text, in which somebody may have written
a rider's id, so that forgetting a rider goes through this file too.
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

import filelock

from etl.keeping.spelling import Speller
from shared.errors import AccountError, UsageError
from shared.files import beside, write_in_place

ENDING: Final = ".views.json"
_VERSION: Final = 1
MOST_VIEWS: Final = 50
LONGEST_NAME: Final = 80
LONGEST_ADDRESS: Final = 2_000


@dataclass(frozen=True)
class KeptView:
    """One view of an account: its name, and its address without the prefix that the dashboard is served under."""

    account: str
    name: str
    address: str


class KeptViews:
    """The file of kept views of the warehouse at `path`."""

    def __init__(self, path: Path) -> None:
        self.file = beside(path, ENDING)

    def of(self, account: str) -> list[KeptView]:
        """The views of an account in the order of their names. Raises AccountError where the file cannot be read."""
        return sorted((view for view in self._read() if view.account == account), key=lambda view: view.name.casefold())

    def keep(self, account: str, name: str, address: str) -> None:
        """Keeps an address under a name; another of the same name gives way. Raises UsageError for a name or address that is
        empty or too long, and beyond so many views."""
        given = " ".join(name.split())
        if not given or len(given) > LONGEST_NAME or len(address) > LONGEST_ADDRESS:
            raise UsageError(f"A kept view needs a name of 1 to {LONGEST_NAME} characters. Nothing was kept.")
        with self._changing() as views:
            others = [view for view in views if (view.account, view.name) != (account, given)]
            if sum(view.account == account for view in others) >= MOST_VIEWS:
                raise UsageError(f"You keep {MOST_VIEWS} views already. Remove one first.")
            views[:] = [*others, KeptView(account, given, address)]

    def remove(self, account: str, name: str) -> None:
        """Removes a view of an account, where there is one of the name."""
        with self._changing() as views:
            views[:] = [view for view in views if (view.account, view.name) != (account, name)]

    def remove_all(self, account: str) -> None:
        """Removes all views of an account, as when it goes."""
        if self.file.exists():
            with self._changing() as views:
                views[:] = [view for view in views if view.account != account]

    def forget(self, speller: Speller) -> None:
        """Takes the ids out of names, and removes a view whose address names one of them."""
        if not self.file.exists():
            return
        with self._changing() as views:
            kept = [view for view in views if not speller.names(view.address)]
            views[:] = [KeptView(view.account, speller.without(view.name, lambda _: False), view.address) for view in kept]

    @contextmanager
    def _changing(self) -> Iterator[list[KeptView]]:
        """The views to change, written whole at the end where they were changed, by one writer at a time."""
        try:
            with filelock.FileLock(beside(self.file, ".lock"), timeout=10):
                views = self._read()
                before = list(views)
                yield views
                if views != before:
                    content = {"version": _VERSION, "views": [asdict(view) for view in views]}
                    write_in_place(self.file, (json.dumps(content, indent=1) + "\n").encode())
        except (OSError, filelock.Timeout) as fault:
            raise AccountError(
                f"{self.file}: the kept views could not be written ({getattr(fault, 'strerror', None) or fault}). Nothing was "
                "changed. Free some space if the disk is full."
            ) from fault

    def _read(self) -> list[KeptView]:
        try:
            content: dict[str, Any] = json.loads(self.file.read_text(encoding="utf-8"))
            if content["version"] != _VERSION:
                raise ValueError(f"version {content['version']}")
            return [KeptView(str(one["account"]), str(one["name"]), str(one["address"])) for one in content["views"]]
        except FileNotFoundError:
            return []
        except (OSError, ValueError, KeyError, TypeError) as fault:
            raise AccountError(
                f"{self.file}: this file of kept views cannot be read ({type(fault).__name__}). Delete it, or put it back from "
                "a copy; nothing else depends on it."
            ) from fault


def forget_in_views(path: Path, speller: Speller) -> None:
    """Takes a forgotten rider's ids out of the kept views of the warehouse at `path`."""
    KeptViews(path).forget(speller)
