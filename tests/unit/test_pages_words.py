"""A headline says its first statement large; intervals and p-values are not parted at the end of a line."""

from typing import Any

import pytest

from dashboard.components.notes import headline
from dashboard.components.text import unbroken

HELD = "\N{NO-BREAK SPACE}"


def parts(text: str) -> tuple[str, str]:
    """What stands large and what follows it, with ordinary blanks."""
    told: Any = headline(text).children
    if isinstance(told, str):
        return told.replace(HELD, " "), ""
    first, pause, rest = told
    # The semicolon is for those who hear the sentence; on a line of its own the statement shows none.
    assert isinstance(pause, str) or pause.className == "for-readers"
    pause = pause if isinstance(pause, str) else pause.children
    return (first + pause).replace(HELD, " "), rest.children.replace(HELD, " ")


@pytest.mark.parametrize(
    ("first", "rest"),
    [
        ("One more shim raises the tilt by 0.47 to 0.56°, in 800 riders.", ""),
        (
            "52 % of fits were seen again (49 to 55 %; 951 fits. Or so). ",
            "8 bookings are overdue. Data up to 28 Aug 2026.",
        ),
        ("Right tilt went from 1.6° to 3.8°; ", "left did not clearly change (from 2.6° to 1.3°)."),
        ("Not enough yet", ""),
    ],
)
def test_only_a_full_stop_or_semicolon_outside_of_brackets_ends_the_first_statement(first: str, rest: str) -> None:
    assert parts(first + rest) == (first, rest)


def test_intervals_and_p_values_stay_on_one_line() -> None:
    told = unbroken("by 0.47 to 0.56°, −1.7 to −1.3 and 49 to 55 % (p < 0.001, p = 0.2), close to 3 or so")
    held = ("0.47 to 0.56°", "−1.7 to −1.3", "49 to 55", "p < 0.001", "p = 0.2")
    assert all(figure.replace(" ", HELD) in told for figure in held)
    assert "close to 3 or so" in told
