"""The headline of the fitters names who lies beyond the outer limits and who outside the inner ones; no ranks."""

from dashboard.questions.coaching.answers_fitters import FitterRow
from dashboard.questions.coaching.fitters_words import headline_of
from shared.settings import Settings


def row(fitter: str, outcome: str, difference: float | None, q_value: float = 0.5) -> FitterRow:
    """A figure of comfort with limits of 0.2 and 0.3 points about what is expected, 1.0; None: too few fits."""
    if difference is None:
        return FitterRow(outcome, "points", fitter, 7, 7)
    return FitterRow(
        outcome, "points", fitter, 40, 40, observed=1 + difference, expected=1.0, difference=difference, q_value=q_value,
        limit_outer_low=0.7, limit_inner_low=0.8, limit_inner_high=1.2, limit_outer_high=1.3,
    )  # fmt: skip


def test_all_within() -> None:
    rows = (row("F1", "comfort_gained", 0.1), row("F2", "comfort_gained", -0.2))
    assert headline_of(rows, Settings()) == (
        "Of 2 fitters compared with what is expected of their riders, none lies beyond the 99.8 % limits."
    )


def test_beyond_and_outside_are_named_by_id_with_the_direction() -> None:
    rows = (
        row("F3", "comfort_gained", -0.25),
        row("F2", "comfort_gained", 0.4, q_value=0.01),
        row("F1", "nearer_neutral", 0.4),  # beyond the outer limits, and chance may bring that among so many
        row("F3", "return_rate", -0.25),
        row("F4", "comfort_gained", None),
    )
    assert headline_of(rows, Settings()) == (
        "Of 3 fitters compared with what is expected of their riders, beyond the 99.8 % limits: F2 on comfort gained (above). "
        "Outside the 95 % limits, no more than chance may bring among so many figures: F1 on knees nearer to neutral (above); "
        "F3 on comfort gained and riders who came back (below). Too few fits yet: F4."
    )
