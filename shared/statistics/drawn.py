"""An effect that rests on the draw alone: by arm as drawn, with the interval of a randomisation test turned round.

Within a block the arms stand in an order that was drawn, every order as likely as any other. What the knees would have done
with either arm is taken as it is: no model of them, and no noise that must be like another.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, islice, product
from math import comb, prod
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.errors import NotEstimableError, TooFewError

Floats = NDArray[np.float64]
# Up to so many orders all are looked at; beyond, so many are drawn.
ALL_ORDERS_UP_TO: Final = 20_000
DRAWN_ORDERS: Final = 20_000
_SEED: Final = 20_261_130
# Orders are held a part at a time.
_AT_ONCE: Final = 2_000


@dataclass(frozen=True)
class DrawnEffect:
    """Second arm less first, in the outcome's unit, with its randomisation interval and two-sided p-value.

    n_orders: how many orders of the draw stand behind the interval, all of them (`is_exact`) or drawn with a fixed seed; then
    `low_error` and `high_error` say how far the ends may be off for that (95 %), else 0. n_first, n_second: draws of each arm
    in blocks that hold both, which alone tell anything.
    """

    estimate: float
    low: float
    high: float
    p_value: float
    n_first: int
    n_second: int
    n_orders: int
    is_exact: bool
    low_error: float
    high_error: float


def drawn_effect(outcome: Floats, is_second: NDArray[np.bool_], block: NDArray[np.int64], level: float) -> DrawnEffect:
    """The effect of the second arm against the first over the draws of all blocks.

    outcome: one value a draw; block: its block's number. The effect is taken as the same for all draws. With c(z) an order of
    the arms less its blocks' means, the statistic is c(z)·(outcome − effect × drawn arm), so that each other order z agrees
    with the effects from one value on: the ends are ranks of these values, and nothing is searched. In an incomplete block the
    orders are those with as many of each arm as were drawn. Raises TooFewError where no block holds both arms, or where there
    are too few orders for an interval of this level.
    Source: Rosenbaum 2002, Observational Studies, 2.6 (test inversion); Edgington & Onghena 2007, Randomization Tests.
    """
    places = [np.flatnonzero(block == one) for one in np.unique(block)]
    blocks = [place for place in places if 0 < is_second[place].sum() < len(place)]
    if not blocks:
        raise TooFewError("No block holds a capture of each arm yet, so that nothing can be compared.")
    kept = np.concatenate(blocks)
    sizes = [len(place) for place in blocks]
    drawn = is_second[kept].astype(np.float64)
    number = np.repeat(np.arange(len(blocks)), sizes)
    centred = outcome[kept] - _means(outcome[kept], number)[number]
    own = drawn - _means(drawn, number)[number]
    information, score = float(own @ drawn), float(own @ centred)
    n_all = prod(comb(size, int(drawn[number == index].sum())) for index, size in enumerate(sizes))
    # Divided, since the orders of a thousand draws are more than a floating-point number holds.
    if n_all < 2 / (1 - level):
        raise TooFewError(f"Only {n_all:,} orders could have been drawn so far, too few for an interval.")
    is_exact = n_all <= ALL_ORDERS_UP_TO
    borders, n_orders = _borders(centred, drawn, number, sizes, score, information, is_exact)
    tail = (1 - level) / 2 * n_orders
    # Orders that are as the drawn one (or no other) agree with every effect, on both sides.
    n_same = n_orders - len(borders)
    rank = int(np.floor(tail)) - n_same
    if rank < 0:
        raise NotEstimableError("The orders that could have been drawn tell no end of an interval.")
    # Orders that agree with no effect exactly do so up to rounding.
    tie = 1e-12 * float(np.abs(centred).max())
    p_value = 2 * (n_same + min((borders <= tie).sum(), (borders >= -tie).sum())) / n_orders
    off = 0 if is_exact else int(np.ceil(stats.norm.ppf(0.975) * np.sqrt(tail * (1 - tail / n_orders))))
    ends = [_end(borders, rank + by) for by in (0, -off, off)], [_end(-borders[::-1], rank + by) for by in (0, -off, off)]
    return DrawnEffect(
        estimate=score / information,
        low=ends[0][0],
        high=-ends[1][0],
        p_value=min(1.0, float(p_value)),
        n_first=int((drawn == 0).sum()),
        n_second=int(drawn.sum()),
        n_orders=n_orders,
        is_exact=is_exact,
        low_error=(ends[0][2] - ends[0][1]) / 2,
        high_error=(ends[1][2] - ends[1][1]) / 2,
    )


def _means(values: Floats, number: NDArray[np.int64]) -> Floats:
    return np.bincount(number, values) / np.bincount(number)


def _end(borders: Floats, rank: int) -> float:
    return float(borders[max(rank, 0)])


def _borders(
    centred: Floats,
    drawn: Floats,
    number: NDArray[np.int64],
    sizes: list[int],
    score: float,
    information: float,
    is_exact: bool,
) -> tuple[Floats, int]:
    """From which effect on each order agrees with what was seen, in ascending order, and how many orders there are in all."""
    borders: list[Floats] = []
    n_orders = 0 if is_exact else 1  # the drawn order itself is one of those that could have been
    mean = _means(drawn, number)[number]
    for orders in _all_orders(drawn, number) if is_exact else _some_orders(drawn, number, sizes):
        n_orders += len(orders)
        apart = orders - mean
        less = information - apart @ drawn
        is_other = less > 1e-9
        borders.append((score - apart[is_other] @ centred) / less[is_other])
    return np.sort(np.concatenate(borders)), n_orders


def _all_orders(drawn: Floats, number: NDArray[np.int64]) -> Iterator[Floats]:
    """Every order of the arms within the blocks; 1 stands for the second arm. Shape of each part: (orders, draws)."""
    choices = []
    for index in range(int(number[-1]) + 1):
        place = np.flatnonzero(number == index)
        choices.append([list(chosen) for chosen in combinations(place.tolist(), int(drawn[place].sum()))])
    every = product(*choices)
    while part := list(islice(every, _AT_ONCE)):
        orders = np.zeros((len(part), len(drawn)))
        for row, chosen in enumerate(part):
            orders[row, [place for one in chosen for place in one]] = 1
        yield orders


def _some_orders(drawn: Floats, number: NDArray[np.int64], sizes: list[int]) -> Iterator[Floats]:
    """So many orders drawn with a fixed seed, within the blocks."""
    rng = np.random.default_rng(_SEED)
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    for _ in range(-(-(DRAWN_ORDERS - 1) // _AT_ONCE)):
        orders = np.empty((_AT_ONCE, len(drawn)))
        for start, size in zip(starts, sizes, strict=True):
            orders[:, start : start + size] = rng.permuted(
                np.broadcast_to(drawn[start : start + size], (_AT_ONCE, size)), axis=1
            )
        yield orders
