"""What left and right tell of each other in the cells of a plan: evidence for a question of sign, never an answer."""

from itertools import pairwise
from statistics import StatisticsError, correlation, fmean

from etl.mapping_assistant.plan import Proposal, TablePlan
from etl.words import code_of, count_of, number_in

_FEWEST = 8
_FAR = 3.0


def side_words(plan: TablePlan) -> str:
    """The headings that stand for left and right, in words."""
    pairs = [one.candidate for one in plan.columns.values() if one.candidate and one.candidate.is_pair]
    return ", ".join(f"{pair.sources[0].heading!r} = left, {pair.sources[1].heading!r} = right" for pair in pairs[:2])


def sides_told(plan: TablePlan, proposal: Proposal) -> tuple[str, ...]:
    """The means of both sides, and whether they move against each other as when one of them is counted the other way."""
    if proposal.candidate is None:
        return ()
    left, right = _by_side(plan, proposal)
    if min(len(left), len(right)) < _FEWEST:
        return ()
    told = [f"mean left {fmean(left):+.1f}, right {fmean(right):+.1f}"]
    if fmean(left) * fmean(right) < 0 and proposal.column.name.startswith("knee_"):
        told.append("the sides lie on different sides of zero: one of them may be counted the other way")
    if len(left) == len(right):
        try:
            r = correlation(left, right)
        except StatisticsError:
            return tuple(told)
        # Three times what chance alone gives, so that it is said of no handful of visits.
        if abs(r) * (len(left) - 1) ** 0.5 > _FAR:
            told.append(f"the sides move {'against' if r < 0 else 'with'} each other (r {r:+.2f})")
    return tuple(told)


def _number(proposal: Proposal, cell: str, side: str | None) -> float | None:
    number = count_of(cell, side) if "shims" in proposal.column.name else None
    return number_in(cell) if number is None else float(number)


def _by_side(plan: TablePlan, proposal: Proposal) -> tuple[list[float], list[float]]:
    candidate = proposal.candidate
    if candidate is None:
        return [], []
    if candidate.is_pair:
        both = [
            (_number(proposal, one, "left"), _number(proposal, other, "right"))
            for one, other in zip(candidate.sources[0].cells, candidate.sources[1].cells, strict=True)
            if one and other
        ]
        numbers = [(one, other) for one, other in both if one is not None and other is not None]
        return [one for one, _ in numbers], [other for _, other in numbers]
    side = plan.columns.get("side")
    if side is None or side.candidate is None:
        return [], []
    rows = [
        (code_of("side", where), _number(proposal, cell, code_of("side", where)))
        for where, cell in zip(side.candidate.sources[0].cells, candidate.sources[0].cells, strict=True)
        if where and cell
    ]
    told = [(where, number) for where, number in rows if number is not None and where]
    # Left and right of one capture stand beside each other in most exports; where they do not, nothing is said of pairs.
    pairs = [
        (one, other) if first == "left" else (other, one) for (first, one), (second, other) in pairwise(told) if first != second
    ]
    is_even = len(pairs) >= len(told) // 2 and all(a[0] != b[0] for a, b in zip(told[::2], told[1::2], strict=False))
    if is_even:
        by_two = list(zip(told[::2], told[1::2], strict=False))
        pairs = [(a[1], b[1]) if a[0] == "left" else (b[1], a[1]) for a, b in by_two]
        return [left for left, _ in pairs], [right for _, right in pairs]
    return [n for where, n in told if where == "left"], [n for where, n in told if where == "right"]
