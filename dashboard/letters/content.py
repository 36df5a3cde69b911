"""What a letter says to a role: what is better, what is worse, what to do, each as Studio's answer tells it, and two charts."""

import hashlib
import re
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final, cast

from dashboard.components.address import Addresses, read_view
from dashboard.components.notes import CAUTION
from dashboard.components.page import Desk
from dashboard.figures import better
from dashboard.figures.control import Window, control_chart, finding, letters, of_figure
from dashboard.figures.control import alternative as control_words
from dashboard.figures.theme import interval, number
from dashboard.pages.studio.answer import (
    Find,
    age,
    beside_title,
    calls_due,
    fits_to_look_at,
    rig_findings,
    rows_left_out,
    tasks_open,
    todo_steps,
)
from dashboard.pages.studio.chosen import dated
from dashboard.questions.coaching.answers_agreement import AgreementWithExam
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import Reader, Role
from dashboard.questions.returns.answers_calls import Calls
from dashboard.questions.selection.selection import Selection
from dashboard.questions.selection.spans import Span, spoken_span
from dashboard.questions.studio.answers_periods import PeriodChangeRow, Periods
from dashboard.questions.studio.answers_trends import GoalRow, SignalRow, Trends
from dashboard.questions.studio.headline_figures import HEADLINE
from dashboard.questions.studio.period_words import earlier
from dashboard.questions.studio.trends_news import news
from dashboard.report.moves import move_words, way_of
from shared.clock import spoken_day
from shared.errors import StatisticsError
from shared.logbook.letters import Signal
from shared.settings_letters import LetterRole

_NOTES_TOLD: Final = 3
# A note is free text: so many of its characters stand in a letter.
LONGEST_NOTE: Final = 200
_SEEN_AGAIN: Final = "return_rate"
_PERIODS_KEY: Final = "Dot: against {before}; diamond: against {year_before}; line: the {level} interval. {tenths}"
_CONTROL_KEY: Final = (
    "A dot is a {every}, a diamond one since the figure moved. Dashed: what was usual in the tinted base; thin lines: the "
    "limits between which almost every {every} would fall if nothing had changed since. Bar at the foot: {span}."
)
_BLANK: Final = re.compile(r"[\s\x00-\x1f\x7f-\x9f\u2028\u2029]+")


@dataclass(frozen=True)
class _Kind:
    """What the letter of a role tells: who reads, which figures, what of what waits."""

    reader: Reader
    figures: tuple[str, ...]
    finds: tuple[Find, ...] = ()


# The desk is told how many calls wait, and of no figure but the one that calling can move: nothing that was measured.
_KINDS: Final[dict[LetterRole, _Kind]] = {
    "owner": _Kind(Reader("", Role.OWNER), tuple(HEADLINE)),
    "head_fitter": _Kind(
        Reader("", Role.HEAD_FITTER), tuple(HEADLINE), (tasks_open, fits_to_look_at, rows_left_out, rig_findings, age)
    ),
    "desk": _Kind(Reader("", Role.OWNER), (_SEEN_AGAIN,), (calls_due,)),
}


@dataclass(frozen=True)
class Line:
    """One sentence, and the address of the view that shows it; empty where none is known."""

    words: str
    href: str = ""


@dataclass(frozen=True)
class Part:
    """Some lines under a name; `nothing` where there are none. `href`: the view that shows all of them, where it is one."""

    name: str
    lines: tuple[Line, ...]
    nothing: str = ""
    href: str = ""


@dataclass(frozen=True)
class Picture:
    """One small chart: its figure, its title, what its marks mean, and what it shows in words.

    `is_told`: the letter's lines say the same.
    """

    figure: dict[str, Any]
    title: str
    key: str
    words: str
    is_told: bool = False


@dataclass(frozen=True)
class Letter:
    """A letter to a role. `signals`: the moves that it tells of; `href`: the page that answers all of it."""

    role: LetterRole
    title: str
    headline: str
    better: tuple[Line, ...]
    worse: tuple[Line, ...]
    unclear: tuple[Line, ...]
    todo: tuple[Line, ...]
    notes: tuple[Line, ...]
    pictures: tuple[Picture, ...]
    signals: tuple[Signal, ...]
    selected: str
    made: str
    cautions: tuple[str, ...]
    href: str

    @property
    def parts(self) -> tuple[Part, ...]:
        """Its lines in the order of reading."""
        return (
            _part("What is better", self.better, "Nothing clearly."),
            _part("What is worse", self.worse, "Nothing clearly."),
            Part("What to do", self.todo, "Nothing waits."),
            *((_part("Neither clearly better nor worse", self.unclear),) if self.unclear else ()),
            *((_part("Noted about that time", self.notes),) if self.notes else ()),
        )

    @property
    def content(self) -> str:
        """The digest of its words but for the day: a letter of the same content is the same letter."""
        lists = (self.better, self.worse, self.unclear, self.todo, self.notes)
        words = [self.title, self.headline, *(line.words for lines in lists for line in lines)]
        return hashlib.sha256("\n".join(words).encode()).hexdigest()


def _part(name: str, lines: tuple[Line, ...], nothing: str = "") -> Part:
    """The lines, and once the address that all of them have."""
    hrefs = {line.href for line in lines}
    if len(hrefs) != 1:
        return Part(name, lines, nothing)
    return Part(name, tuple(Line(line.words) for line in lines), nothing, hrefs.pop())


def letter_to(role: LetterRole, asker: Asker, base: str = "") -> Letter:
    """The letter of a role on the last full month, beside the month before. `base`: where the dashboard is, for links.

    Raises WarehouseError where nothing can be read.
    """
    kind = _KINDS[role]
    desk = Desk(AskedBy(asker, lambda: kind.reader), Addresses(base or "/"), with_names=False)
    selection = dated(desk, read_view(""))[0]
    steps = todo_steps(desk, selection, kind.finds)
    todo = tuple(Line(f"{step.count:,} {step.words}", step.href if base else "") for step in steps)
    letter = Letter(
        role=role,
        title="",
        headline="",
        better=(),
        worse=(),
        unclear=(),
        todo=todo,
        notes=(),
        pictures=(),
        signals=(),
        selected="",
        made=spoken_day(asker.today()),
        cautions=CAUTION[:2],
        href=desk.addresses.page("") if base else "",
    )
    try:
        answer = cast(Periods, desk.asker.ask("periods", Selection()))
    except StatisticsError as refusal:
        return replace(letter, title="No figures yet", headline=str(refusal))
    # The desk sees the calls alone, and no page of figures.
    return _told(letter, desk, answer, kind.figures, "" if role == "desk" else base)


def _headline(desk: Desk, role: LetterRole, answer: Periods) -> str:
    """How the month was; to the desk, how many calls wait; to the head fitter, also how many fits agree with the exam."""
    if role == "owner":
        return answer.headline
    with suppress(StatisticsError):
        if role == "desk":
            return cast(Calls, desk.asker.ask("calls", Selection())).headline
        span = answer.spans()["this"]
        asked = Selection(date_from=span.first, date_to=span.last)
        agreement = cast(AgreementWithExam, desk.asker.ask("agreement", asked)).agreement
        return " ".join((answer.headline, *(row.words for row in agreement if row.by is None)))
    return answer.headline


def _told(letter: Letter, desk: Desk, answer: Periods, figures: Sequence[str], base: str) -> Letter:
    """The letter with what became of the figures, and their pictures."""
    own = replace(answer, changes=tuple(row for row in answer.changes if row.figure in figures))
    span = answer.spans()["this"]
    trends = _trends(desk)
    goals = trends.goal_by_figure() if trends else {}
    fresh = [row for row in news(trends, span) if row.figure in figures] if trends else []
    month = desk.addresses.page("", Selection(date_from=span.first, date_to=span.last).query()) if base else ""
    over_time = desk.addresses.page("over-time", Selection(date_from=span.first, date_to=span.last).query()) if base else ""
    rows = [row for row in own.changes if row.against == "before"]
    # What is claimed of one period alone, beside a year before too, is told with it.
    claimed = [row for row in own.changes if row.judged in ("better", "worse")]
    moved = (
        {way: [Line(move_words(trends, row), over_time) for row in fresh if way_of(row) == way] for way in ("better", "worse")}
        if trends
        else {}
    )
    ways = {
        way: (*(Line(_with_level(row, answer, goals), month) for row in claimed if row.judged == way), *moved.get(way, ()))
        for way in ("better", "worse")
    }
    beside = _beside(own, figures)
    return replace(
        letter,
        title=f"{spoken_span(span)}, {_over_time(fresh)}{beside[:1].lower()}{beside[1:]}",
        headline=_headline(desk, letter.role, answer),
        better=ways["better"],
        worse=ways["worse"],
        unclear=tuple(Line(_with_level(row, answer, goals), month) for row in rows if row not in claimed),
        notes=tuple(_notes(trends, span, over_time)) if trends else (),
        pictures=tuple(_pictures(desk, own, trends, fresh, span)),
        signals=tuple(Signal(row.figure, row.direction, row.period_from) for row in fresh),
        selected=f"{answer.selection_words}, {answer.n_riders:,} riders. Intervals are at {number(desk.level, 'share')}.",
        href=month,
    )


def _trends(desk: Desk) -> Trends | None:
    try:
        return cast(Trends, desk.asker.ask("trends", Selection()))
    except StatisticsError:
        return None


def _over_time(fresh: Sequence[SignalRow]) -> str:
    """How many figures moved, for the title, as in: over time 2 better, 1 worse; nothing where none did."""
    ways = [way_of(row) for row in fresh]
    told = ", ".join(f"{ways.count(way)} {way}" for way in ("better", "worse") if way in ways)
    return f"over time {told}; " if told else ""


def _beside(own: Periods, figures: Collection[str]) -> str:
    """How many figures are better and worse; of one alone, what may be said of it."""
    if len(figures) > 1:
        return beside_title(own)
    (row,) = (one for one in own.changes if one.against == "before")
    return f"{HEADLINE[row.figure]}: {row.judged} beside {earlier('before', own.spans())}"


def _with_level(row: PeriodChangeRow, answer: Periods, goals: Mapping[str, GoalRow]) -> str:
    """The comparison, what the figure is now with its interval, and what becomes of its goal."""
    now = next((one for one in answer.periods if (one.figure, one.which) == (row.figure, "this")), None)
    if now is None or now.estimate is None:
        return row.words
    goal = f" {goals[row.figure].words}" if row.figure in goals else ""
    return f"{row.words} It is {number(now.estimate, now.unit)} now ({interval(now.low, now.high, now.unit)}).{goal}"


def _notes(trends: Trends, span: Span, href: str) -> list[Line]:
    """The dated notes of the month, and of the one before and after it."""
    first, last = date(span.first.year, span.first.month, 1), span.last
    near = [
        (letter, note)
        for letter, note in letters(trends.notes)
        if abs((note.on - first).days) <= 62 or first <= note.on <= last
    ]
    return [Line(f"{spoken_day(note.on)}: {one_line(note.words)}", href) for _, note in near]


def _lettered(trends: Trends) -> str:
    """What the letters on the chart stand for, the newest notes of all dates."""
    newest = list(letters(trends.notes))[-_NOTES_TOLD:]
    return "".join(f" {letter}: {spoken_day(note.on)}, {one_line(note.words).rstrip('.')}." for letter, note in newest)


def one_line(words: str) -> str:
    """Free text as one line without signs that steer a screen or a mail, cut where it is too long."""
    plain = _BLANK.sub(" ", words).strip()
    return plain if len(plain) <= LONGEST_NOTE else f"{plain[:LONGEST_NOTE]}…"


def _pictures(desk: Desk, own: Periods, trends: Trends | None, fresh: Sequence[SignalRow], span: Span) -> list[Picture]:
    """The figures beside earlier ones, and over time the one that moved, else the one that calling can move."""
    tenths = "Comfort in tenths of a point." if any(row.unit == "points" for row in own.changes) else ""
    earlier_words = {which: earlier(which, own.spans()) for which in ("before", "year_before")}
    pictures = [
        Picture(
            better.periods_figure(own, trends.goal_by_figure() if trends else {}, "light"),
            _beside(own, {row.figure for row in own.changes}),
            _PERIODS_KEY.format(**earlier_words, level=number(desk.level, "share"), tenths=tenths),
            " ".join(row.words for row in own.changes if row.against == "before"),
            is_told=True,
        )
    ]
    figure = next((row.figure for row in fresh), _SEEN_AGAIN)
    if trends is None or figure not in {row.figure for row in trends.charts}:
        return pictures
    chart, rows, signals = of_figure(trends, figure)
    return [
        *pictures,
        Picture(
            control_chart(trends, figure, Window(span.first, span.last), "light"),
            finding(chart, signals, trends.every, is_news=any(row.figure == figure for row in fresh)),
            _CONTROL_KEY.format(every=trends.every, span=spoken_span(span)) + _lettered(trends),
            control_words(chart, rows, signals, trends.every) + _lettered(trends),
        ),
    ]
