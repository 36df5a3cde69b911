"""What follows from hidden rows: lists that tell of other lists' rows, steps of a curve, and the sentence at the top."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from dashboard.questions.door.counted_rows import FIGURES
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.scope import spoken_day

# Lists by question that are made of others of the same answer, or tell of no rider.
FOLLOWING: Final[dict[str, frozenset[str]]] = {
    "effects": frozenset({"families"}),
    "returns": frozenset({"comparisons"}),
    "trends": frozenset({"charts", "signals", "beside", "notes"}),
    "fitters": frozenset({"dispersion", "funnel"}),
    "data": frozenset({"tables", "loads", "reasons", "quality", "left_out", "exams"}),
}
# Which rows of which list the sentence at the top quotes.
_QUOTED: Final[dict[str, dict[str, Callable[[Any], bool]]]] = {
    "effects": {"effects": lambda row: row.split is None and row.outcome == "tilt"},
    "studio": {"figures": lambda row: row.figure == "knees_better"},
    "noise": {"noise": lambda row: row.outcome == "tilt"},
    "asymmetry": {
        "prevalence": lambda row: row.level is None and (row.quantity, row.moment) == ("tilt", "arrival"),
        "change": lambda row: row.level is None and row.finding.endswith("tilt"),
    },
    "ratings": {"ratings": lambda row: row.level is None and row.topic == "comfort"},
    "types": {"types": lambda row: row.level is None and row.kind == "varus"},
    "agreement": {"agreement": lambda row: row.level is None},
    "periods": {"changes": lambda row: True},
    "rig": {"findings": lambda row: True},
}
_NO_HEADLINE: Final = "The sentence that would stand here rests on too few riders to be told. The figures below rest on enough."
_NO_PERIOD: Final = "There is no earlier group of whole quarters to compare this one with."
_FOR_LOADERS: Final = "What was found in the rows is shown to those who load them."
_OWN_WORDS: Final = {
    "fitters": "Your own fits beside what is expected of their riders; those of others are for the head fitter.",
    "sides": "Left against right shows one rider a point, and is for the head fitter and the owner.",
}

Shown = dict[str, tuple[Any, ...]]
Hidden = Mapping[str, set[int]]


def tidied(question: str, answer: Answer, shown: Shown, hidden: Hidden, least: int) -> Answer:
    """The answer with the rows that are shown, and all that follows from the hidden ones left out."""
    following = _FOLLOW.get(question)
    lists = {**shown, **(following(answer, shown, hidden, least) if following else {})}
    emptied = {name: () for name in type(answer).lists() if name not in lists}
    headline = {"headline": _headline(question, answer, lists, hidden)} if hasattr(answer, "headline") else {}
    counts = {}
    if question == "agreement" and 0 in hidden["agreement"]:
        counts = dict.fromkeys(("n_judged", "n_flagged"))
    changed: dict[str, Any] = {**lists, **emptied, **headline, **counts}
    kept = {name: value for name, value in changed.items() if value != getattr(answer, name)}
    return replace(answer, **kept) if kept else answer


def _headline(question: str, answer: Any, shown: Shown, hidden: Hidden) -> str:
    if question in _OWN_WORDS:
        return _OWN_WORDS[question]
    quoted = _QUOTED.get(question, {}).items()
    if any(is_quoted(getattr(answer, name)[at]) for name, is_quoted in quoted for at in hidden[name]):
        return _NO_HEADLINE
    # Sentences on what follows from other lists.
    if any(len(shown[name]) < len(getattr(answer, name)) for name in ("signals", "changes") if name in shown):
        return _NO_HEADLINE if question == "trends" else _NO_PERIOD
    if question == "returns":
        came_back = next(row for row in shown["figures"] if row.figure == "return_rate" and row.level is None)
        return f"{came_back.words} Data up to {spoken_day(answer.as_of)}."
    return str(answer.headline)


def _effects(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Shown:
    gone = {(row.outcome, row.support, row.split) for row in (answer.effects[at] for at in hidden["effects"])}
    return {"families": tuple(row for row in answer.families if (row.outcome, row.support, row.split) not in gone)}


def _returns(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Shown:
    gone = {(row.split, row.level) for row in (answer.figures[at] for at in hidden["figures"]) if row.figure == "return_rate"}
    told = {
        name: _stepped([row for row in _told(answer, name, hidden) if (row.split, row.level) not in gone], least, visits)
        for name, visits in ((name, FIGURES["returns"][name].visits) for name in _STEPPED)
    }
    least *= FIGURES["returns"]["curve"].visits
    told = {name: _without_rests(rows, least) for name, rows in told.items()}
    return {**told, "comparisons": () if gone else answer.comparisons}


_STEPPED: Final = ("curve", "at_risk")


def _told(answer: Any, name: str, hidden: Hidden) -> list[Any]:
    return [row for at, row in enumerate(getattr(answer, name)) if at not in hidden[name]]


def _stepped(rows: Sequence[Any], least: int, visits: int) -> tuple[Any, ...]:
    """The steps of each curve between which riders enough leave those at risk."""
    kept: list[Any] = []
    for row in rows:
        last = kept[-1] if kept and (kept[-1].split, kept[-1].level) == (row.split, row.level) else None
        lost = 0 if last is None else last.n_at_risk - row.n_at_risk
        if lost == 0 or lost >= visits * least:
            kept.append(row)
    return tuple(kept)


def _without_rests(rows: Sequence[Any], least: int) -> tuple[Any, ...]:
    """The curves without the steps of all fits of which those of the levels on the same day leave too few."""
    at_risk: dict[Any, dict[str, int]] = {}
    for row in rows:
        if row.level is not None:
            at_risk.setdefault(row.days, {})[row.level] = row.n_at_risk
    rests = {row.days: row.n_at_risk - sum(at_risk.get(row.days, {}).values()) for row in rows if row.level is None}
    few = {days for days, rest in rests.items() if days in at_risk and 0 < rest < least}
    return tuple(row for row in rows if row.level is not None or row.days not in few)


def _trends(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Shown:
    gone = {(row.figure, row.period) for row in (answer.trend[at] for at in hidden["trend"])}

    def is_told(row: Any) -> bool:
        return not any(figure == row.figure and row.period_from <= period <= row.period_to for figure, period in gone)

    signals = tuple(row for row in answer.signals if is_told(row))
    told = {(row.figure, row.rule, row.period_from) for row in signals}
    beside = tuple(row for row in answer.beside if (row.figure, row.rule, row.period_from) in told)
    return {"charts": answer.charts, "signals": signals, "beside": beside, "notes": answer.notes}


def _fitters(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Shown:
    return {"dispersion": answer.dispersion, "funnel": answer.funnel, "fitters": answer.fitters, "process": answer.process}


def _asymmetry(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Shown:
    return {"curve": tuple(_counted_steps(_told(answer, "curve", hidden), least))}


def _counted_steps(rows: Sequence[Any], least: int) -> Iterator[Any]:
    """The limits between which riders enough lie, and beyond the last of which there are enough, the set limit first of all."""
    for _, curve in _by(rows, lambda row: (row.quantity, row.moment)).items():
        beyond = {row.limit: round((row.share or 0.0) * row.n_riders) for row in curve}
        kept = [
            row
            for row in curve
            if row.is_set_limit and row.share is not None and _is_enough(row.n_riders, beyond[row.limit], least)
        ]
        for row in curve:
            gaps = (abs(beyond[row.limit] - beyond[other.limit]) for other in kept if other is not row)
            enough = row.share is not None and _is_enough(row.n_riders, beyond[row.limit], least)
            if row not in kept and enough and all(gap == 0 or gap >= least for gap in gaps):
                kept.append(row)
        yield from sorted(kept, key=lambda row: row.limit)


def _is_enough(n: int, beyond: int, least: int) -> bool:
    return n >= least and all(count == 0 or count >= least for count in (beyond, n - beyond))


def _by(rows: Sequence[Any], key: Callable[[Any], Any]) -> dict[Any, list[Any]]:
    found: dict[Any, list[Any]] = {}
    for row in rows:
        found.setdefault(key(row), []).append(row)
    return found


def _data(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Shown:
    """Counts of rows and fits, without what stood in the rows and how the files are called."""
    return {
        "tables": answer.tables,
        "loads": tuple(replace(row, names="") for row in answer.loads),
        "reasons": tuple(row if row.state == "waiting" else replace(row, words=_FOR_LOADERS) for row in answer.reasons),
        "left_out": answer.left_out,
        "quality": tuple(row for row in answer.quality if _is_enough(row.total, row.n, least)),
        "exams": tuple(row for row in answer.exams if _is_enough(row.total, row.n, least)),
    }


def _periods(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Shown:
    """A change is told where both of its periods are."""
    gone = {(row.figure, row.which) for row in (answer.periods[at] for at in hidden["periods"])}
    changes = zip(answer.changes, shown["changes"], strict=True)
    return {"changes": tuple(told for row, told in changes if not gone & {(row.figure, "this"), (row.figure, row.against)})}


_FOLLOW: Final[dict[str, Callable[[Any, Shown, Hidden, int], Shown]]] = {
    "effects": _effects,
    "returns": _returns,
    "trends": _trends,
    "fitters": _fitters,
    "asymmetry": _asymmetry,
    "data": _data,
    "periods": _periods,
}
