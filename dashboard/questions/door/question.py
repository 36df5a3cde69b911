"""What the door knows of one question: where it stands, how it is asked, and what of its answer a fitter sees."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any, Protocol

from dashboard.questions.door.counted_rows import Counted
from dashboard.questions.door.following import Follow
from dashboard.questions.memory.remembering import Remember
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import Selection
from shared.logbook.entries import Sort
from shared.settings import Settings
from shared.warehouse import Warehouse


class Ask(Protocol):
    """`ask` of a question's module. given: by name the answers that it leans on, `today` and the parts, where it takes them."""

    def __call__(
        self, warehouse: Warehouse, selection: Selection, settings: Settings, *, remember: Remember, **given: Any
    ) -> Answer:
        """The answer to the question over a selection."""


@dataclass(frozen=True)
class OwnRows:
    """Which rows of a list a fitter sees: their own, and those that tell of no fitter; every other is left out.

    fitter: the field that holds the id of the fitter whom a row tells of. by: the field that says what it tells of, and
    of_nobody: the values of it with which a row tells of no fitter.
    """

    fitter: str = ""
    by: str = ""
    of_nobody: frozenset[str] = frozenset()

    def is_seen(self, row: Any, fitter_id: str | None) -> bool:
        if self.by and getattr(row, self.by) in self.of_nobody:
            return True
        return bool(self.fitter) and getattr(row, self.fitter) == fitter_id


@dataclass(frozen=True)
class Sight:
    """What a fitter, who may not see cases of others, and an owner, who may not see notes, see of an answer.

    A list that is named in none of the lists here is kept from a fitter.

    figures: lists that are given row by row, as far as enough riders stand behind a row. following: lists that are made of
    others of the same answer, or tell of no rider; follow: makes these from the rows that are shown. quoted: the rows of a
    list that the sentence at the top quotes. own_words: the sentence that stands in its place. own_cases: lists of cases,
    asked anew over the fitter's own fits. own_rows: lists whose rows tell of fitters. own_only: lists over the fitter's own
    fits alone: one rider a row, or values of single knees. kept: lists that a fitter never sees.

    of_all_fits: it tells of all fits, whichever fitter is chosen. is_one_whole: it knows no groups of fits. is_modelled: its
    figures are estimates of a model, which cannot be subtracted from each other and are compared with those over all fits
    alone. is_case: what it tells of is a case, asked over the fitter's own fits. without_notes: makes of the answer one
    without what was noted of riders. for_desk: makes of it one without measures, for the front desk, which sees no other.
    """

    figures: Mapping[str, Counted] = field(default_factory=dict)
    following: frozenset[str] = frozenset()
    follow: Follow | None = None
    quoted: Mapping[str, Callable[[Any], bool]] = field(default_factory=dict)
    own_words: str = ""
    own_cases: frozenset[str] = frozenset()
    own_rows: Mapping[str, OwnRows] = field(default_factory=dict)
    own_only: frozenset[str] = frozenset()
    kept: frozenset[str] = frozenset()
    of_all_fits: bool = False
    is_one_whole: bool = False
    is_modelled: bool = False
    is_case: bool = False
    without_notes: Callable[[Any], Any] | None = None
    for_desk: Callable[[Any], Any] | None = None

    def decided(self) -> frozenset[str]:
        """The lists of which it is decided what a fitter sees; of a list that is not, a fitter sees nothing."""
        return frozenset((*self.figures, *self.following, *self.own_cases, *self.own_rows, *self.own_only, *self.kept))


@dataclass(frozen=True)
class Question:
    """One question. module: where its `ask` stands, below dashboard.questions; it is imported when it is first asked.

    follows_split: False where its figures know no split, so that with one they are the same. leans_on: the questions whose
    answers over all fits it is given by their names, each computed once for all. knows_today: it is given `today`, and its
    answers are remembered by day. by_period: it is told by week, month or quarter (`every`). knows_logbook: it is
    given what the `logbook` holds of drawn orders, and answers anew where that has changed. knows_entries: the sorts of
    entries of the logbook that it is given as `entries`, likewise.

    stands_on: the tables, and columns as table.column, without which nothing of it can be told; where a warehouse holds none of
    one, "not recorded here" is the answer (`recorded.py`). instead: the module below dashboard.questions whose `told` says
    what is known all the same.
    """

    name: str
    module: str
    sight: Sight
    follows_split: bool = True
    leans_on: tuple[str, ...] = ()
    knows_today: bool = False
    by_period: bool = False
    knows_logbook: bool = False
    knows_entries: tuple[Sort, ...] = ()
    stands_on: tuple[str, ...] = ()
    instead: str = ""

    @property
    def ask(self) -> Ask:
        ask: Ask = import_module(f"dashboard.questions.{self.module}").ask
        return ask

    def told_instead(
        self, warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember, absent: tuple[str, ...]
    ) -> str:
        """What is known where `absent` of what it stands on is not recorded."""
        if not self.instead:
            return ""
        told: str = import_module(f"dashboard.questions.{self.instead}").told(warehouse, selection, settings, remember, absent)
        return told
