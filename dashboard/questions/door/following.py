"""What follows from hidden rows, question by question: lists that tell of other lists' rows, steps of a curve, sentences."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from dashboard.questions.effects.nearer import headline_of, rows_by_arrival
from dashboard.questions.selection.scope import spoken_day

NO_HEADLINE: Final = "The sentence that would stand here rests on too few riders to be told. The figures below rest on enough."
# How many fits one rider is taken to have where those at risk of a return are counted.
VISITS_AT_RISK: Final = 2
_NO_PERIOD: Final = "There is no earlier group of whole quarters to compare this one with."
_FOR_LOADERS: Final = "What was found in the rows is shown to those who load them."

Shown = dict[str, tuple[Any, ...]]
Hidden = Mapping[str, set[int]]
# Fields of an answer.
Fields = dict[str, Any]
# From an answer, the rows of it that are shown, the places of those that are hidden, and how many riders are enough.
Follow = Callable[[Any, Shown, Hidden, int], Fields]


def effects(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Fields:
    gone = {(row.outcome, row.support, row.split) for row in (answer.effects[at] for at in hidden["effects"])}
    families = tuple(row for row in answer.families if (row.outcome, row.support, row.split) not in gone)
    return {"families": families, "headline": _nearer(answer, shown, hidden)}


def _nearer(answer: Any, shown: Shown, hidden: Hidden) -> str:
    """The sentence on the distance from neutral, from the rows of it that are shown; one without figures tells no count."""
    told = rows_by_arrival(answer.effects)
    if not told:
        return NO_HEADLINE
    is_whole = not rows_by_arrival(answer.effects[at] for at in hidden["effects"])
    if is_whole or all(row.words == answer.headline for row in told):
        return str(answer.headline)
    return headline_of(shown["effects"])


def returns(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Fields:
    gone = {(row.split, row.level) for row in (answer.figures[at] for at in hidden["figures"]) if row.figure == "return_rate"}
    steps = {
        name: _stepped(
            [row for row in _rows_left(answer, name, hidden) if (row.split, row.level) not in gone], VISITS_AT_RISK * least
        )
        for name in ("curve", "at_risk")
    }
    steps = {name: _without_rests(rows, VISITS_AT_RISK * least) for name, rows in steps.items()}
    overall = {row.figure: row for row in shown["figures"] if row.level is None}
    told = (overall[figure].words for figure in ("held", "return_rate"))
    headline = f"{' '.join(told)} Data up to {spoken_day(answer.as_of)}."
    held = shown["held"]
    if hidden["held"]:
        # The bounds of those that held tell how many did not.
        unbounded = dict.fromkeys(("bounds_low", "bounds_high", "chance_low", "chance_high"))
        held = tuple(replace(row, **unbounded) for row in held)
    return {**steps, "held": held, "comparisons": () if gone else answer.comparisons, "headline": headline}


def _rows_left(answer: Any, name: str, hidden: Hidden) -> list[Any]:
    return [row for at, row in enumerate(getattr(answer, name)) if at not in hidden[name]]


def _stepped(rows: Sequence[Any], least: int) -> tuple[Any, ...]:
    """The steps of each curve between which fits enough (`least`) leave those at risk."""
    kept: list[Any] = []
    for row in rows:
        last = kept[-1] if kept and (kept[-1].split, kept[-1].level) == (row.split, row.level) else None
        lost = 0 if last is None else last.n_at_risk - row.n_at_risk
        if lost == 0 or lost >= least:
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


def trends(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Fields:
    gone = {(row.figure, row.period) for row in (answer.trend[at] for at in hidden["trend"])}

    def is_whole(row: Any) -> bool:
        return not any(figure == row.figure and row.period_from <= period <= row.period_to for figure, period in gone)

    signals = tuple(row for row in answer.signals if is_whole(row))
    kept_signals = {(row.figure, row.rule, row.period_from) for row in signals}
    beside = tuple(row for row in answer.beside if (row.figure, row.rule, row.period_from) in kept_signals)
    headline = NO_HEADLINE if len(signals) < len(answer.signals) else answer.headline
    kept = {name: getattr(answer, name) for name in ("charts", "notes", "goals")}
    return {**kept, "signals": signals, "beside": beside, "headline": headline}


def fitters(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Fields:
    return {"dispersion": answer.dispersion, "funnel": answer.funnel, "fitters": answer.fitters, "process": answer.process}


def asymmetry(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Fields:
    return {"curve": tuple(_counted_steps(_rows_left(answer, "curve", hidden), least))}


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
    groups: dict[Any, list[Any]] = {}
    for row in rows:
        groups.setdefault(key(row), []).append(row)
    return groups


def data(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Fields:
    """Keeps the counts of rows and fits, without what stood in the rows and without the names of the files."""
    return {
        "tables": answer.tables,
        "loads": tuple(replace(row, names="") for row in answer.loads),
        "reasons": tuple(row if row.state == "waiting" else replace(row, words=_FOR_LOADERS) for row in answer.reasons),
        "left_out": answer.left_out,
        "absent": answer.absent,
        "quality": tuple(row for row in answer.quality if _is_enough(row.total, row.n, least)),
        "exams": tuple(row for row in answer.exams if _is_enough(row.total, row.n, least)),
    }


def periods(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Fields:
    """Keeps the changes both of whose periods are shown."""
    gone = {(row.figure, row.which) for row in (answer.periods[at] for at in hidden["periods"])}
    both = zip(answer.changes, shown["changes"], strict=True)
    changes = tuple(shown_row for row, shown_row in both if not gone & {(row.figure, "this"), (row.figure, row.against)})
    return {"changes": changes, "headline": _NO_PERIOD if len(changes) < len(answer.changes) else answer.headline}


def agreement(answer: Any, shown: Shown, hidden: Hidden, least: int) -> Fields:
    """Leaves out the counts at the top where the first row, whose counts they are, is hidden."""
    names = ("n_judged", "n_flagged", "n_far", "n_to_look_at")
    return dict.fromkeys(names) if 0 in hidden["agreement"] else {}
