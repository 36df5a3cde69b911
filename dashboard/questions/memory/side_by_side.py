"""Parts of one answer on two threads at once, where their sums are long enough to leave the interpreter free."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from functools import cache
from typing import TypeVar

import scipy.linalg  # with a BLAS of its own beside numpy's: what is not loaded is not held
from threadpoolctl import threadpool_limits

_Item = TypeVar("_Item")
_Answer = TypeVar("_Answer")
_One = TypeVar("_One")
_Other = TypeVar("_Other")

# Below as many rows the parts are made one after the other sooner than threads begin.
_FROM_ROWS = 20_000


@cache
def one_thread_a_product() -> None:
    """Holds every BLAS of this process, from now on, to the thread that asks for a product.

    Otherwise it shares the larger ones out among as many threads as there are processors, which wait for one another without
    letting go: beside threads of ours, or other work, that waiting takes several times as long as the products.
    """
    assert scipy.linalg
    threadpool_limits(limits=1, user_api="blas")


def side_by_side(answer: Callable[[_Item], _Answer], items: Iterable[_Item], n_rows: int) -> list[_Answer]:
    """Computes the answers, side by side where there are many rows, and returns them in the order of the items.

    No two may use one cursor; `n_rows` is how many rows each item takes.
    """
    if n_rows < _FROM_ROWS:
        return [answer(item) for item in items]
    one_thread_a_product()
    with ThreadPoolExecutor(2) as pool:
        # In the reader's context, so that they stop where the reader has gone on.
        begun = [pool.submit(copy_context().run, answer, item) for item in items]
        return [one.result() for one in begun]


def both(one: Callable[[], _One], other: Callable[[], _Other], n_rows: int) -> tuple[_One, _Other]:
    """Computes two parts, side by side where there are many rows.

    Neither may use the other's cursor; `n_rows` is how many rows each takes.
    """
    if n_rows < _FROM_ROWS:
        return one(), other()
    one_thread_a_product()
    with ThreadPoolExecutor(1) as pool:
        begun = pool.submit(copy_context().run, other)
        return one(), begun.result()
