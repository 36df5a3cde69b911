"""What changed since the reader's last look: the four figures then and now, in sentences.

The looks are kept in the reader's own browser, one entry a selection: the figures with their intervals, the day of the look
and the last day of the data. Nothing of a rider, and the selection only as a digest.
"""

import hashlib
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import day, interval, number
from dashboard.pages.studio import ids
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_studio import Studio

# Rounded, so that what a browser kept equals what is computed again.
_DECIMALS = 6
_UNITS = {"knees_better": "share", "side_difference_left": "share", "return_rate": "share", "comfort_gained": "points"}

Figure = tuple[float | None, float | None, float | None, int]


@dataclass(frozen=True)
class Look:
    """One look: its day, the last day of the data, and each figure with the ends of its interval and its n."""

    on: str
    data_to: str
    figures: dict[str, Figure]

    def as_kept(self) -> dict[str, Any]:
        return {"on": self.on, "data_to": self.data_to, "figures": {name: list(each) for name, each in self.figures.items()}}


def look_of(answer: Studio, today: str) -> Look:
    """The look at an answer on a day."""
    figures = {row.figure: (_rounded(row.estimate), _rounded(row.low), _rounded(row.high), row.n) for row in answer.figures}
    return Look(today, answer.as_of.isoformat() if answer.as_of else "", figures)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, _DECIMALS)


def key_of(selection: Selection, as_of: date | None) -> str:
    """A digest of the selection; an end on the last day of the data moves with the data, and is taken as open."""
    ends_with_data = selection.date_to is not None and as_of is not None and selection.date_to >= as_of
    asked = replace(selection, split=None, date_to=None) if ends_with_data else replace(selection, split=None)
    return hashlib.sha256(asked.query().encode()).hexdigest()[:16]


def read_look(kept: Any) -> Look | None:
    """A look as a browser kept it; None where there is none, or none that this version understands."""
    try:
        figures = {str(name): _figure(each) for name, each in kept["figures"].items()}
        return Look(date.fromisoformat(kept["on"]).isoformat(), str(kept["data_to"]), figures)
    except (AttributeError, KeyError, TypeError, ValueError):
        return None


def _figure(kept: Any) -> Figure:
    estimate, low, high, n = kept
    return (*(None if value is None else float(value) for value in (estimate, low, high)), int(n))  # type: ignore[return-value]


def since(selection: Selection, answer: Studio, kept: Any) -> list[Any]:
    """The section, and what the browser is to keep; `kept` holds today's date and the looks it kept before."""
    key = key_of(selection, answer.as_of)
    entry = (kept.get("looks") or {}).get(key) or {}
    now = look_of(answer, str(kept["today"]))
    last, earlier = read_look(entry.get("last")), read_look(entry.get("earlier"))
    if last is not None and last.figures != now.figures:
        earlier = last
    return [
        html.H2("What changed since your last look", className="section-title"),
        *told(now, last, earlier),
        dcc.Store(
            id=ids.LOOK,
            data={"key": key, "entry": {"last": now.as_kept(), "earlier": earlier.as_kept() if earlier else None}},
        ),
    ]


def told(now: Look, last: Look | None, earlier: Look | None) -> list[Any]:
    """Sentences: a first look says so; else each figure beside the last look that showed other figures."""
    if last is None:
        return [
            html.P(
                "This is the first look at this selection in this browser. At the next, this place tells which of the four "
                "figures have moved. The figures and the day are kept in this browser alone."
            )
        ]
    if earlier is None:
        return [html.P(f"Nothing. The figures are those of your last look, {_day(last.on)}.")]
    then = f", with data up to {_day(earlier.data_to)}" if earlier.data_to else ""
    return [
        html.P(f"Compared with what you saw on {_day(earlier.on)}{then}:"),
        html.Ul(
            [html.Li(sentence(name, earlier.figures.get(name), figure)) for name, figure in now.figures.items()],
            className="since-list",
        ),
    ]


def sentence(name: str, then: Figure | None, now: Figure) -> str:
    """One figure then and now; it claims no more than whether the new one lies in the interval that the old one had."""
    called, unit = FIGURES.get(name, name), _UNITS[name]
    n_more = now[3] - then[3] if then else 0
    counted = f" ({n_more:+,} in n)".replace("-", "−") if n_more else ""
    if then is None or then[0] is None or then[1] is None or then[2] is None:
        return f"{called}: not enough then, {number(now[0], unit)} now{counted}." if now[0] is not None else _still(called)
    if now[0] is None:
        return f"{called}: {number(then[0], unit)} then, not enough now{counted}."
    if now == then:
        return f"{called}: {number(now[0], unit)}, as it was."
    place = "within" if then[1] <= now[0] <= then[2] else "outside"
    ends = interval(then[1], then[2], unit)
    return f"{called}: {number(now[0], unit)} now, {number(then[0], unit)} then; {place} the interval it had, {ends}{counted}."


def _still(called: str) -> str:
    return f"{called}: not enough yet, as before."


def _day(text: str) -> str:
    return day(date.fromisoformat(text))
