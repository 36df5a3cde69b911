"""One form for what every bench tells: a line of the table of docs/performance.md, beside a reference of the same run."""

import sys
from dataclasses import dataclass

import numpy as np

HEAD = "| what | size | median | 95 % | beside | takes | times | more |\n| --- | --- | --- | --- | --- | --- | --- | --- |"


@dataclass(frozen=True)
class Reference:
    """What is timed in the same run, so that a slow machine can be told from a slow program."""

    name: str
    seconds: float


def tell(what: str, size: str, seconds: list[float], beside: Reference | None = None, more: str = "") -> None:
    """Prints one line: what was timed, at which size, each of its times, and how many times the reference's their median is."""
    median = float(np.median(seconds))
    high = _shown(float(np.quantile(seconds, 0.95))) if len(seconds) > 1 else ""
    ratio = (beside.name, _shown(beside.seconds), f"{median / beside.seconds:,.2f}") if beside else ("", "", "")
    sys.stdout.write(f"| {' | '.join((what, size, _shown(median), high, *ratio, more))} |\n")
    sys.stdout.flush()


def _shown(seconds: float) -> str:
    return f"{seconds:.4f} s" if seconds < 0.01 else f"{seconds:.3f} s"
