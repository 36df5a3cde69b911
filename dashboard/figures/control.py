"""Control chart of one headline figure: its periods, the centre, the limits, the base they come from, signals."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from dashboard.figures.names import FIGURES
from dashboard.figures.scales import apart, share_ticks
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, bare_number, interval, number, palette
from dashboard.questions.selection.calendar import spoken_period
from dashboard.questions.studio.answers_trends import ChartRow, GoalRow, NoteRow, SignalRow, TrendRow, Trends
from dashboard.questions.studio.headline_figures import judged

HEIGHT_PX: Final = 268
# The shape of the periods from the one on at which the figure moved.
MOVED: Final = "diamond"
# Half a period in days, so that the base and the chosen dates reach around their dots.
_HALF: Final = {"week": 3.5, "month": 15.0, "quarter": 45.0}
_AXES: Final = {
    "knees_better": "share of knees",
    "side_difference_left": "share of fits",
    "return_rate": "share of fits",
    "comfort_gained": "points gained",
}
_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class Window:
    """The dates that the page's selection asks for; open ends are None."""

    start: date | None
    end: date | None

    @property
    def is_open(self) -> bool:
        return self.start is None and self.end is None


def of_figure(answer: Trends, figure: str) -> tuple[ChartRow, list[TrendRow], list[SignalRow]]:
    """The chart, the periods and the signals of one figure."""
    chart = next(row for row in answer.charts if row.figure == figure)
    return chart, [row for row in answer.trend if row.figure == figure], [row for row in answer.signals if row.figure == figure]


def letters(notes: Sequence[NoteRow]) -> list[tuple[str, NoteRow]]:
    """Each dated note with the letter that stands at its line."""
    return list(zip(_LETTERS, sorted(notes, key=lambda row: row.on), strict=False))


def finding(chart: ChartRow, signals: Sequence[SignalRow], every: str, *, is_news: bool) -> str:
    """What the chart shows, for its title: whether the figure moved, for the better or the worse, and since when.

    is_news: whether the move belongs to the chosen dates; an older one is told as such.
    """
    name = FIGURES[chart.figure]
    if "not recorded here" in chart.words:
        return chart.words.removesuffix(".")
    if chart.centre is None:
        return f"{name}: no limits yet"
    if not signals:
        return f"{name}: within its usual scatter"
    said = judged(chart.figure, 1 if signals[0].direction == "higher" else -1)
    start = spoken_period(signals[0].period_from, every)
    return f"{name}: {said} from about {start} on" if is_news else f"{name}: nothing new ({said} since about {start})"


def span_words(row: SignalRow, every: str) -> str:
    """The periods of a signal, as in: April 2025 to July 2026."""
    start, end = spoken_period(row.period_from, every), spoken_period(row.period_to, every)
    return start if start == end else f"{start} to {end}"


def alternative(
    chart: ChartRow, rows: Sequence[TrendRow], signals: Sequence[SignalRow], every: str, goal: GoalRow | None = None
) -> str:
    """The chart in words, for a reader who does not see it."""
    estimated = [row for row in rows if row.estimate is not None]
    if "not recorded here" in chart.words:
        return chart.words
    if not estimated:
        return f"{FIGURES[chart.figure]}: not enough yet in any {every}."
    last = estimated[-1]
    limits = f", limits {interval(last.limit_low, last.limit_high, last.unit)}" if last.limit_low is not None else ""
    move_words = " ".join(row.words for row in signals) or "It was not found to move."
    move_words += f" {goal.words}" if goal else ""
    return (
        f"Control chart of {FIGURES[chart.figure]}, {len(estimated)} {every}s with a figure. {chart.words} "
        f"Latest, {spoken_period(last.period, every)}: {number(last.estimate, last.unit)}{limits}. {move_words}"
    )


def control_chart(answer: Trends, figure: str, window: Window, theme: str | None) -> dict[str, Any]:
    """The figure of one headline figure as a plain dict; `window` is marked along the axis where dates are chosen."""
    colours = palette(theme)
    chart, rows, _ = of_figure(answer, figure)
    vertical, low, high = _vertical(rows)
    across: dict[str, Any] = {"type": "date", "nticks": 4, "tickangle": 0, "tickformat": "%b\n%Y", "showgrid": False}
    return {
        "data": _traces(rows, answer.every, low, colours),
        "layout": layout(
            theme,
            height=HEIGHT_PX,
            margin=(64, 86, 22, 40),
            xaxis=axis(theme, range=_span(rows, answer.every), **across),
            yaxis=axis(theme, title=_AXES[figure], ticklabelstandoff=4, **vertical),
            shapes=[*_bands(chart, rows, answer.every, window, colours), *_lines(answer.notes, colours)],
            annotations=[
                *_limit_names(rows, low, high, colours),
                *_band_names(chart, answer.every, colours),
                *_letters_above(answer.notes),
            ],
        ),
    }


def _traces(rows: Sequence[TrendRow], every: str, floor: float, colours: Palette) -> list[dict[str, Any]]:
    plain = [row for row in rows if row.estimate is not None and not row.signals and not row.is_partial]
    running = [row for row in rows if row.estimate is not None and not row.signals and row.is_partial]
    few = [row for row in rows if row.estimate is None and row.n > 0]
    days = [row.period.isoformat() for row in rows]
    limit = {"color": colours.line, "width": 1, "shape": "hvh"}
    return [
        _line(days, [row.centre for row in rows], {"color": colours.line, "width": 1.25, "dash": "dash"}),
        _line(days, [row.limit_low for row in rows], limit),
        _line(days, [row.limit_high for row in rows], limit),
        # A period without a figure breaks the line.
        _line(days, [row.estimate for row in rows], {"color": colours.accent, "width": 1.25}),
        _dots(plain, "circle", 7, colours.accent, every),
        _dots(running, "circle-open", 8, colours.accent, every),
        _dots(few, "circle-open", 5, colours.muted, every, floor),
        _moved_dots(rows, every, colours),
        *_goal_line(days, rows, colours),
    ]


def _goal_line(days: list[str], rows: Sequence[TrendRow], colours: Palette) -> list[dict[str, Any]]:
    """The goal that held in each period, as steps."""
    if all(row.goal is None for row in rows):
        return []
    line = _line(days, [row.goal for row in rows], {"color": colours.ink, "width": 2, "dash": "longdash", "shape": "hvh"})
    # So that a goal of one period is seen as well.
    mark = {"symbol": "line-ew-open", "size": 9, "color": colours.ink, "line": {"color": colours.ink, "width": 2}}
    return [{**line, "mode": "lines+markers", "marker": mark, "cliponaxis": False}]


def _line(days: list[str], values: list[float | None], line: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": days,
        "y": values,
        "line": line,
        "connectgaps": False,
        "hoverinfo": "skip",
    }


def _dots(
    rows: Sequence[TrendRow], symbol: str | list[str], size: int, colour: str, every: str, at: float | None = None
) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [row.period.isoformat() for row in rows],
        "y": [row.estimate if at is None else at for row in rows],
        "marker": {"symbol": symbol, "size": size, "color": colour, "line": {"color": colour, "width": 1.5}},
        "cliponaxis": False,
        "text": [_hover(row, every) for row in rows],
        "hoverinfo": "text",
    }


def _moved_dots(rows: Sequence[TrendRow], every: str, colours: Palette) -> dict[str, Any]:
    own = [row for row in rows if row.estimate is not None and row.signals]
    symbols = [MOVED + ("-open" if row.is_partial else "") for row in own]
    return _dots(own, symbols, 9, colours.ink, every)


def _hover(row: TrendRow, every: str) -> str:
    when = spoken_period(row.period, every)
    if row.estimate is None:
        return f"<b>{when[:1].upper()}{when[1:]}</b><br>not enough yet, n = {row.n}"
    parts = [f"<b>{when[:1].upper()}{when[1:]}</b>", number(row.estimate, row.unit), f"n = {row.n:,}"]
    if row.limit_low is not None:
        parts.append(f"limits {interval(row.limit_low, row.limit_high, row.unit)}")
    if row.is_partial:
        parts.append(f"the {every} is not over yet")
    parts += ["since it moved"] if row.signals else []
    return "<br>".join(parts)


def _vertical(rows: Sequence[TrendRow]) -> tuple[dict[str, Any], float, float]:
    """The vertical axis and its ends: shares from nothing, means around what is drawn."""
    drawn = [value for row in rows for value in (row.estimate, row.limit_low, row.limit_high, row.goal) if value is not None]
    if rows and rows[0].unit == "share":
        ticks = share_ticks(max([0.0, *drawn]))
        room = 0.03 * ticks[-1]
        low, high = -room, ticks[-1] + room
        labels = [number(tick, "share") for tick in ticks]
        return {"range": [low, high], "tickvals": ticks, "ticktext": labels}, low, high
    low, high = min(drawn, default=0.0), max(drawn, default=1.0)
    room = 0.08 * (high - low) or 0.5
    return {"range": [low - room, high + room], "nticks": 4}, low - room, high + room


def _span(rows: Sequence[TrendRow], every: str) -> list[str] | None:
    if not rows:
        return None
    half = timedelta(days=_HALF[every])
    return [(rows[0].period - half).isoformat(), (rows[-1].period + half).isoformat()]


def _bands(chart: ChartRow, rows: Sequence[TrendRow], every: str, window: Window, colours: Palette) -> list[dict[str, Any]]:
    """The base period as a tinted ground, the chosen dates as a bar along the foot of the chart."""
    half, bands = timedelta(days=_HALF[every]), []
    if chart.centre is not None and chart.base_from and chart.base_to:
        bands.append(_band(chart.base_from - half, chart.base_to + half, (0.0, 1.0), colours.soft))
    if rows and not window.is_open:
        first, last = rows[0].period - half, rows[-1].period + half
        # A dot stands at the first day of its period, so that the dates begin half a period before it.
        start = max(window.start - half, first) if window.start else first
        end = min(window.end, last) if window.end else last
        bands.append(_band(start, end, (0.0, 0.02), colours.ink))
    return bands


def _band(start: date, end: date, across: tuple[float, float], colour: str) -> dict[str, Any]:
    return {
        "type": "rect",
        "x0": start.isoformat(),
        "x1": end.isoformat(),
        "yref": "paper",
        "y0": across[0],
        "y1": across[1],
        "fillcolor": colour,
        "line": {"width": 0},
        "layer": "below",
    }


def _lines(notes: Sequence[NoteRow], colours: Palette) -> list[dict[str, Any]]:
    return [
        {
            "type": "line",
            "x0": row.on.isoformat(),
            "x1": row.on.isoformat(),
            "yref": "paper",
            "y0": 0,
            "y1": 1,
            "line": {"color": colours.ink, "width": 1, "dash": "dot"},
        }
        for row in notes
    ]


def _letters_above(notes: Sequence[NoteRow]) -> list[dict[str, Any]]:
    return [
        note(f"<b>{letter}</b>", x=row.on.isoformat(), yref="paper", y=1, yanchor="bottom", font={"size": CHART_TEXT_PX - 1})
        for letter, row in letters(notes)
    ]


def _limit_names(rows: Sequence[TrendRow], low: float, high: float, colours: Palette) -> list[dict[str, Any]]:
    """Centre, limits and goal at the right, each with its value in the latest period that has them."""
    known = [row for row in rows if row.limit_low is not None and row.limit_high is not None]
    if not known:
        return []
    last = known[-1]
    named = [("upper", last.limit_high), ("centre", last.centre), ("lower", last.limit_low)]
    named += [("goal", rows[-1].goal)] if rows[-1].goal is not None else []
    named.sort(key=lambda one: one[1] or 0.0, reverse=True)
    places = apart([value or 0.0 for _, value in named], 0.075 * (high - low))
    form = number if last.unit == "share" else bare_number
    return [
        note(
            f"{name} {form(value, last.unit)}",
            xref="paper",
            x=1,
            xanchor="left",
            xshift=8,
            y=place,
            align="left",
            font={"size": CHART_TEXT_PX - 1, "color": colours.muted},
        )
        for (name, value), place in zip(named, places, strict=True)
    ]


def _band_names(chart: ChartRow, every: str, colours: Palette) -> list[dict[str, Any]]:
    if chart.centre is None or chart.base_from is None:
        return []
    start = chart.base_from - timedelta(days=_HALF[every])
    font = {"size": CHART_TEXT_PX - 2, "color": colours.muted}
    return [note("base", x=start.isoformat(), yref="paper", y=1, xanchor="left", yanchor="top", xshift=2, font=font)]
