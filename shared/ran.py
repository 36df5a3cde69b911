"""Which named SQL ran for an answer, with its names filled in: noted as it runs, so that nobody keeps a list of it."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Final

# A named file and its text with every name filled in; values are bound, and no part of it.
Ran = tuple[Path, str]
_NOW: Final[ContextVar[set[Ran] | None]] = ContextVar("ran", default=None)
# One object a text, however many answers lead to it.
_KNOWN: Final[dict[Ran, Ran]] = {}
_MOST_KNOWN: Final = 2_000


@contextmanager
def noting() -> Iterator[set[Ran]]:
    """Fills the set with what runs inside, in this thread and those that take its context; who notes around it is told too."""
    inside: set[Ran] = set()
    before = _NOW.set(inside)
    try:
        yield inside
    finally:
        _NOW.reset(before)
        note(inside)


def note(ran: Iterable[Ran]) -> None:
    """Notes what has run, now or when what is remembered was made."""
    if (now := _NOW.get()) is not None:
        now.update(ran)


def note_run(sql: Path | str, text: str) -> None:
    """Notes one statement that runs; one that has no file of its own is not noted."""
    if isinstance(sql, Path) and _NOW.get() is not None:
        one = (sql, text)
        note([_KNOWN.setdefault(one, one) if len(_KNOWN) < _MOST_KNOWN else one])
