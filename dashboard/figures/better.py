"""Differences of the studio's figures as rows of dots with intervals: right of the middle is better, left of it worse.

Shares are measured in points of 100 and comfort in tenths of a point of 10, so that one axis holds both. A figure of which less
is better is turned round, so that every row reads alike.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from dashboard.figures.dot_rows import LABEL_PX, no_figure, texts
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import Palette, bare_interval, bare_number, number, palette
from dashboard.questions.studio.answers_periods import PeriodChangeRow, Periods
from dashboard.questions.studio.answers_studios import BetweenStudiosRow, Studios
from dashboard.questions.studio.answers_trends import GoalRow
from dashboard.questions.studio.headline_figures import BETTER, HEADLINE, NOT_ENOUGH
from dashboard.questions.studio.period_words import earlier

# Heights in px: of a row's name, of each of its marks, between rows, of the axis below.
NAME_PX: Final = 20
MARK_PX: Final = 14
GAP_PX: Final = 5
AXIS_PX: Final = 40
_SCALE: Final = {"share": 100.0, "points": 10.0}
# How much of the width, beside as much again for the marks, is kept for figures at the right.
_TEXT_SHARE: Final = 0.5


@dataclass(frozen=True)
class BetterMark:
    """A difference in the axis' unit, positive where better, with its interval; None where there is not enough.

    `printed`: what stands at its right. `goal`: where the goal lies on this row.
    """

    value: float | None
    low: float | None
    high: float | None
    printed: str
    hover: str
    is_quiet: bool = False
    goal: float | None = None


@dataclass(frozen=True)
class BetterRow:
    """A figure: its name, what it is now, what may be said of it, and its marks."""

    name: str
    level: str
    verdict: str
    marks: tuple[BetterMark, ...]


def periods_figure(answer: Periods, goals: Mapping[str, GoalRow], theme: str | None) -> dict[str, Any]:
    """The four figures against the period before and a year before, each with its goal where it has one."""
    return better_rows(_period_rows(answer, goals), theme, ("worse", "better"))


def studios_figure(answer: Studios, theme: str | None) -> dict[str, Any]:
    """The four figures of each studio less the other, or less all others together."""
    rows = [
        BetterRow(
            f"{HEADLINE[row.figure]}" + (f", {row.studio}" if row.against == "the others" else ""),
            "",
            row.judged,
            (_mark(row, f"{row.studio} less {row.against}"),),
        )
        for row in answer.differences
    ]
    names = dict.fromkeys((row.studio, row.against) for row in answer.differences)
    better = [f"better at {name}" for name in next(iter(names))] if len(names) == 1 else ["better there", "worse there"]
    return better_rows(rows, theme, (better[1], better[0]))


def alternative(rows: Sequence[PeriodChangeRow | BetweenStudiosRow]) -> str:
    """The picture in words, for a reader who does not see it."""
    return " ".join(row.words for row in rows)


def level_words(row: PeriodChangeRow) -> str:
    """What a figure is in the period, as in: 18 %; 1.8 points."""
    return NOT_ENOUGH if row.estimate is None else number(row.estimate, row.unit)


def _period_rows(answer: Periods, goals: Mapping[str, GoalRow]) -> list[BetterRow]:
    spans = answer.spans()
    rows = []
    for figure, name in HEADLINE.items():
        changes = {row.against: row for row in answer.changes if row.figure == figure}
        if not changes:
            continue
        before = changes["before"]
        own = goals.get(figure)
        goal = own.goal if own else None
        level = level_words(before) + (f", goal {number(own.goal, own.unit)}: {own.verdict}" if own else "")
        marks = tuple(
            _mark(row, f"against {earlier(against, spans)}", goal, is_quiet=against == "year_before")
            for against, row in changes.items()
        )
        rows.append(BetterRow(name, level, before.judged, marks))
    return rows


def _mark(
    row: PeriodChangeRow | BetweenStudiosRow, beside: str, goal: float | None = None, *, is_quiet: bool = False
) -> BetterMark:
    turned = BETTER[row.figure] * _SCALE[row.unit]
    if row.difference is None or row.low is None or row.high is None:
        return BetterMark(None, None, None, NOT_ENOUGH, row.words, is_quiet)
    low, high = sorted((turned * row.low, turned * row.high))
    told = f"{bare_number(row.difference, row.unit)} ({bare_interval(row.low, row.high, row.unit)})"
    printed = row.judged if is_quiet else told
    then = getattr(row, "estimate_against", None)
    at = None if goal is None or then is None else turned * (goal - then)
    return BetterMark(turned * row.difference, low, high, printed, f"<b>{beside}</b><br>{row.judged}: {told}", is_quiet, at)


def better_rows(rows: Sequence[BetterRow], theme: str | None, ends: tuple[str, str]) -> dict[str, Any]:
    """The rows from top to bottom as a plain dict; `ends` says what the left and the right of the axis mean."""
    if not rows:
        return no_figure(theme, "Not enough yet in any figure to compare.")
    colours, placed, tops, bands, height = palette(theme), [], [], [], 0.0
    for row in rows:
        tops.append(height + NAME_PX / 2)
        bands.append((height + NAME_PX, height + NAME_PX + MARK_PX * len(row.marks)))
        placed += [(height + NAME_PX + MARK_PX * (at + 0.5), mark) for at, mark in enumerate(row.marks)]
        height += NAME_PX + MARK_PX * len(row.marks) + GAP_PX
    reach, ticks = _reach([mark for _, mark in placed])
    left, right = -1.06 * reach, reach * (1 + 2 * _TEXT_SHARE)
    return {
        "data": [
            _uprights([tick for tick in ticks if tick], bands, colours.grid),
            _uprights([0.0], bands, colours.ink),
            *(_intervals(placed, colours, is_quiet=quiet) for quiet in (True, False)),
            _goals(placed, colours),
            *(_dots(placed, colours, is_quiet=quiet) for quiet in (False, True)),
            texts(left, tops, [f"<b>{row.name}</b>  {row.level}".rstrip() for row in rows], "middle right", colours.ink),
            texts(right, tops, [f"<b>{row.verdict}</b>" for row in rows], "middle left", colours.ink),
            texts(right, [y for y, _ in placed], [mark.printed for _, mark in placed], "middle left", colours.muted),
        ],
        "layout": layout(
            theme,
            height=round(height) + AXIS_PX,
            margin=(2, 2, 2, AXIS_PX),
            xaxis=axis(
                theme,
                range=[left, right],
                tickvals=ticks,
                ticktext=[f"{abs(tick):g}" for tick in ticks],
                showgrid=False,
            ),
            yaxis=axis(theme, range=[height, 0], showticklabels=False, showgrid=False),
            annotations=[
                _under(-reach, "left", f"← {ends[0]}", colours),
                _under(0, "center", "points of 100", colours),
                _under(reach, "right", f"{ends[1]} →", colours),
            ],
        ),
    }


def _reach(marks: Sequence[BetterMark]) -> tuple[float, list[float]]:
    """How far the axis goes to either side, and its ticks."""
    most = max((abs(end) for mark in marks for end in (mark.low, mark.high, mark.goal) if end is not None), default=1.0)
    step = next((step for step in (1.0, 2.0, 5.0, 10.0, 20.0) if most <= 3 * step), 50.0)
    reach = max(most, step)
    return reach, [tick * step for tick in range(-int(reach / step), int(reach / step) + 1)]


def _under(x: float, anchor: str, words: str, colours: Palette) -> dict[str, Any]:
    """Words under the axis; `anchor` is the side of them that stands at `x`."""
    font = {"size": LABEL_PX, "color": colours.muted}
    return note(words, x=x, xanchor=anchor, yref="paper", y=0, yshift=-19, yanchor="top", font=font)


def _uprights(at: Sequence[float], bands: Sequence[tuple[float, float]], colour: str) -> dict[str, Any]:
    """Upright lines behind the marks of each row, and not behind its words."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for tick in at for _ in bands for x in (tick, tick, None)],
        "y": [y for _ in at for band in bands for y in (*band, None)],
        "line": {"color": colour, "width": 1},
        "hoverinfo": "skip",
    }


def _of(placed: Sequence[tuple[float, BetterMark]], *, is_quiet: bool) -> list[tuple[float, BetterMark]]:
    return [(y, mark) for y, mark in placed if mark.is_quiet == is_quiet and mark.value is not None]


def _intervals(placed: Sequence[tuple[float, BetterMark]], colours: Palette, *, is_quiet: bool) -> dict[str, Any]:
    chosen = _of(placed, is_quiet=is_quiet)
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for _, mark in chosen for x in (mark.low, mark.high, None)],
        "y": [at for y, _ in chosen for at in (y, y, None)],
        "line": {"color": colours.muted if is_quiet else colours.accent, "width": 1.5 if is_quiet else 4},
        "hoverinfo": "skip",
    }


def _dots(placed: Sequence[tuple[float, BetterMark]], colours: Palette, *, is_quiet: bool) -> dict[str, Any]:
    chosen = _of(placed, is_quiet=is_quiet)
    hollow = {"symbol": "diamond", "size": 8, "color": colours.surface, "line": {"color": colours.muted, "width": 2}}
    full = {"symbol": "circle", "size": 10, "color": colours.accent, "line": {"color": colours.surface, "width": 1}}
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [mark.value for _, mark in chosen],
        "y": [y for y, _ in chosen],
        "marker": hollow if is_quiet else full,
        "text": [mark.hover for _, mark in chosen],
        "hoverinfo": "text",
    }


def _goals(placed: Sequence[tuple[float, BetterMark]], colours: Palette) -> dict[str, Any]:
    chosen = [(y, mark) for y, mark in _of(placed, is_quiet=False) if mark.goal is not None]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [mark.goal for _, mark in chosen],
        "y": [y for y, _ in chosen],
        "marker": {"symbol": "line-ns-open", "size": 14, "color": colours.ink, "line": {"color": colours.ink, "width": 2}},
        "text": ["the goal"] * len(chosen),
        "hoverinfo": "text",
    }
