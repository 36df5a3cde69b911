"""Asks questions of one warehouse: keeps a consistent snapshot open, follows the file when a load replaces it, and
remembers answers per snapshot, so that a page, a download and the command get the same object."""

import logging
import threading
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from dashboard.questions.door import SQL
from dashboard.questions.door.question import Question
from dashboard.questions.door.recorded import require_recorded
from dashboard.questions.door.registry import QUESTIONS, question_named
from dashboard.questions.drawn.recorded import logged
from dashboard.questions.memory.remembering import Memory, Remember
from dashboard.questions.memory.turns import stopping
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import WORDS, Selection
from shared import clock
from shared.errors import NoMemoryError, NotRecordedError, SupersededError
from shared.freshness import NEWEST_ROW, Freshness, freshness
from shared.logbook.entries import Entries
from shared.ran import Ran, noting
from shared.settings import Settings
from shared.warehouse import Warehouse, open_reading, snapshot_of

if TYPE_CHECKING:
    from dashboard.questions.foresight.answers_foresight import Next
    from dashboard.questions.foresight.knees import Form

_Result = TypeVar("_Result")
log = logging.getLogger("fitledger.dashboard")
# What there was no memory for is not tried again so soon: each try holds up everybody else's answers.
_REST_SECONDS: Final = 60.0


@dataclass(frozen=True)
class Choices:
    """What the studio's own data offer to choose from."""

    studio: tuple[str, ...]
    fitter: tuple[str, ...]
    bike_kind: tuple[str, ...]
    first_date: date | None
    last_date: date | None


class Asker:
    """Thread-safe; one for each served warehouse."""

    # Whose cases alone the reader may see; None where all, as here.
    fitter: str | None = None
    # What is told of each question that is asked, by its name, by whoever runs the server.
    watch: Callable[[str], AbstractContextManager[None]] = staticmethod(lambda _: nullcontext())

    def __init__(self, path: Path, settings: Settings, today: Callable[[], date] | None = None) -> None:
        """`today` tells today's date; without it the warehouse's own clock does, where it has one, or this machine's."""
        self.path = path
        self.settings = settings
        self._given_today = today
        self._lock = threading.Lock()
        self._snapshot: tuple[int, int, int] | None = None
        self._warehouse: Warehouse | None = None
        self._memory = Memory(settings.serving.remembered_mb * 1_000_000)
        self._too_large: dict[tuple[Any, ...], tuple[float, NoMemoryError]] = {}

    def ask(self, question: str, selection: Selection, **only: tuple[str, ...]) -> Answer:
        """The answer to one of QUESTIONS; `only`: what of it is asked for, where the question can be asked in parts.

        Raises UsageError for another name, WarehouseError where it cannot be read, NoMemoryError where it cannot be computed.
        """
        return self.ask_within(Selection(), question, selection, **only)

    def ask_within(self, whole: Selection, question: str, selection: Selection, **only: tuple[str, ...]) -> Answer:
        """The same, where the questions that this one leans on are asked over the fits of `whole`."""
        with self.watch(question):
            return self._ask_within(whole, question_named(question), selection, **only)

    def _ask_within(self, whole: Selection, asked: Question, selection: Selection, **only: tuple[str, ...]) -> Answer:
        question = asked.name
        if selection.split and not asked.follows_split:
            plain = self.ask_within(whole, question, replace(selection, split=None), **only)
            return replace(plain, selection={**plain.selection, WORDS["split"]: selection.split})
        self._now(lambda cursor, remember: require_recorded(asked, cursor, selection, self.settings, remember))
        # Another question's answer, computed once for all who lean on it.
        beside = {name: known for name in asked.leans_on if (known := self._if_recorded(name, whole))}
        # What is due follows from today too, so that an answer of yesterday is another one.
        dated: dict[str, Any] = {"today": self.today()} if asked.knows_today else {}
        if asked.knows_logbook:
            dated["logbook"] = logged(self.path)
        if asked.knows_entries:
            dated["entries"] = Entries(self.path).entered(asked.knows_entries)

        def answer(cursor: Warehouse, remember: Remember) -> Answer:
            return asked.ask(cursor, selection, self.settings, remember=remember, **beside, **only, **dated)

        return self._unless_too_large((question, selection, whole, *sorted(only.items()), *dated.values()), answer)

    def _unless_too_large(self, key: tuple[Any, ...], answer: Callable[[Warehouse, Remember], Answer]) -> Answer:
        """The answer to `key`; where there was no memory for it, that is told for a while without another try."""
        tried, told = self._too_large.get(key, (-_REST_SECONDS, None))
        if told and time.monotonic() - tried < _REST_SECONDS:
            raise NoMemoryError(str(told))
        try:
            remembered: Answer = self._remembered(key, answer)
        except NoMemoryError as fault:
            self._too_large[key] = (time.monotonic(), fault)
            raise
        except MemoryError as fault:
            known = _no_memory(key[0])
            self._too_large[key] = (time.monotonic(), known)
            raise known from fault
        return remembered

    def _if_recorded(self, question: str, whole: Selection) -> Answer | None:
        """Another question's answer; None where the studio does not record what it stands on."""
        try:
            return self.ask(question, whole)
        except NotRecordedError:
            return None

    def ahead(self) -> tuple[tuple[str, Callable[[], object]], ...]:
        """What to ask before a reader does, by the question's name: every question over all fits in the parts that the pages
        ask for, and what foresees the next rider's knees, so that nobody waits for what is read once a snapshot."""
        # Of nobody nothing is foreseen, and what the effects are checked by is asked with them.
        plain = [
            (name, partial(self.ask, name, Selection())) for name in QUESTIONS if name not in ("effects", "checks", "next")
        ]
        effects = (
            partial(self.ask, "effects", Selection(), parts=("overall", "directions", "responders", "influence")),
            partial(self.ask, "effects", Selection(), parts=("dose",), outcomes=("tilt",)),
            partial(self.ask, "effects", Selection(split="foot_type"), parts=("split",), outcomes=("tilt",)),
        )
        foreseeing = partial(self._now, lambda cursor, remember: _foreseeing().made_ready(cursor, self.settings, remember))
        return *plain, *(("effects", ask) for ask in effects), ("next", foreseeing)

    def ran(self) -> dict[str, frozenset[Ran]]:
        """The named SQL that ran for each question over all fits; for one that cannot be answered, as far as it came."""
        found: dict[str, frozenset[Ran]] = {}
        for name, ask in self.ahead():
            with noting() as ran:
                try:
                    ask()
                except SupersededError:
                    raise
                except Exception:  # whatever it is, it is told where this question is asked
                    log.debug("%s cannot be answered", name)
            found[name] = found.get(name, frozenset()) | ran
        return found

    def snapshot(self) -> tuple[int, int, int] | None:
        """Which state of the file is there now; None where there is none."""
        return snapshot_of(self.path)

    def foresee(self, form: "Form") -> "Next":
        """What is foreseen for two knees as they were typed. Neither they nor the answer are remembered."""
        answer: Next = self._now(lambda cursor, remember: _foreseeing().foreseen_next(cursor, form, self.settings, remember))
        return answer

    def held_bytes(self) -> tuple[int, int]:
        """The bytes of memory that remembered answers hold now, and those of what they are made of."""
        return self._memory.held()

    def look_up(self, look: Callable[[Warehouse], _Result]) -> _Result:
        """What a short look at the present snapshot finds; not remembered."""
        with self._lock:
            self._follow()
            assert self._warehouse is not None
            cursor = self._warehouse.cursor()
        try:
            return look(cursor)
        finally:
            cursor.close()

    def today(self) -> date:
        """Today's date, for all that follows from it."""
        if self._given_today:
            return self._given_today()
        return self._own_today() or clock.today()

    def _own_today(self) -> date | None:
        own: date | None = self._remembered(("own today",), lambda cursor, _: clock.own_today(cursor))
        return own

    def freshness(self) -> Freshness:
        """How old the newest row is today."""
        newest: date | None = self._remembered(("as_of",), lambda cursor, _: cursor.value(NEWEST_ROW))
        today = self.today()
        return freshness(newest, today, self.settings, is_of_demo=today == self._own_today())

    def choices(self) -> Choices:
        """The studios, fitters, bike kinds and dates in the warehouse."""
        choices: Choices = self._remembered(("choices",), lambda cursor, _: _choices(cursor))
        return choices

    def once(self, key: tuple[Any, ...], make: Callable[[Warehouse, Remember], Any]) -> Any:
        """What `make` finds in the present snapshot, remembered under `key` like an answer."""
        return self._remembered(key, make)

    def _remembered(self, key: tuple[Any, ...], answer: Callable[[Warehouse, Remember], Any]) -> Any:
        """The answer to `key` in the present snapshot; it may have parts of its own remembered in the same snapshot."""
        snapshot, answered = self._reading(answer)
        return self._memory.once((snapshot, *key), answered)

    def _now(self, answer: Callable[[Warehouse, Remember], Any]) -> Any:
        """An answer of the present snapshot of which only its parts are remembered."""
        return self._reading(answer)[1]()

    def _reading(self, answer: Callable[[Warehouse, Remember], Any]) -> tuple[Any, Callable[[], Any]]:
        """The present snapshot, and what answers from it."""
        with self._lock:
            self._follow()
            snapshot, warehouse = self._snapshot, self._warehouse
        assert warehouse is not None

        def remember(part: tuple[Any, ...], make: Callable[[], Any]) -> Any:
            return self._memory.once((snapshot, *part), make)

        def answered() -> Any:
            with self._lock:
                cursor = warehouse.cursor()
            try:
                with stopping(cursor.interrupt):
                    return answer(cursor, remember)
            finally:
                cursor.close()

        return snapshot, answered

    def _follow(self) -> None:
        """Opens the file anew where a load has replaced it; cursors of the old snapshot finish on the old file."""
        snapshot = snapshot_of(self.path)
        if self._warehouse is None or snapshot != self._snapshot:
            self._warehouse = open_reading(self.path)
            self._memory.follow(snapshot)
            self._too_large.clear()
            self._snapshot = snapshot


def _no_memory(question: str) -> NoMemoryError:
    return NoMemoryError(
        f"{question}: no memory is left to answer this. Other questions, and this one over fewer fits, may still be answered. "
        "Choose fewer, end other programs, or give the machine or its container more memory."
    )


def _foreseeing() -> Any:
    """The module that foresees; it is imported when it is first asked, as the questions are."""
    return import_module("dashboard.questions.foresight.next_rider")


def _choices(warehouse: Warehouse) -> Choices:
    row = warehouse.rows(SQL / "choices.sql")[0]
    return Choices(
        studio=tuple(row["studio"] or ()),
        fitter=tuple(row["fitter"] or ()),
        bike_kind=tuple(row["bike_kind"] or ()),
        first_date=row["first_date"],
        last_date=row["last_date"],
    )
