"""The one way in which a table of recovery is run: simulate what is still missing, then write the table from what is kept."""

import argparse
from collections.abc import Callable
from pathlib import Path


def run(
    arguments: list[str],
    about: str | None,
    studios: tuple[int, str],
    simulate: Callable[[int, float], None],
    table: Callable[[], str],
    path: Path,
) -> None:
    """Simulates, and writes the table to `path`; studios: how many unless told otherwise, and of what."""
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--studios", type=int, default=studios[0], help=studios[1])
    parser.add_argument("--seconds", type=float, default=float("inf"), help="stop after so long; the next run goes on")
    options = parser.parse_args(arguments)
    simulate(options.studios, options.seconds)
    path.write_text(table(), encoding="utf-8")
