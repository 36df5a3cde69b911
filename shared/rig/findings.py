"""What was found of a studio's rig, and the sentence that says it."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Literal

from shared.clock import spoken_day

Kind = Literal["step", "slope", "side", "exchange", "noise"]
UNITS: Final = {"tilt": "deg", "sway": "mm", "offset": "mm"}
# What a unit ends in where it is one of a slope.
A_MONTH: Final = "/month"
_GAP: Final = "\N{NO-BREAK SPACE}"
_SIGNS: Final = {"deg": "°", "mm": f"{_GAP}mm"}
# An exchange of at least this share of captures is told as one of all of them.
_ALL: Final = 0.75
_FURTHER: Final = {
    "tilt": ("stand", "further out", "further in"),
    "offset": ("stand", "further out from the foot", "further in from the foot"),
    "sway": ("sway", "more", "less"),
}


@dataclass(frozen=True)
class RigFinding:
    """One thing that a studio's rig does otherwise than it should; the rig is the studio's: exports name no rig.

    kind: `step` (arrivals of both knees stand elsewhere since a day), `slope` (they drift), `side` (right against left),
    `exchange` (left and right change places) or `noise` (how far two captures with nothing changed lie apart). `since`: its
    first day, between `since_low` and `since_high`; None where it holds of all fits. `until`: its last day; None where it
    goes on. estimate: in `unit`; of a slope a month, of an exchange the share of captures, of noise the ratio. n_fits,
    n_riders: since then or before it, whichever is fewer.
    """

    studio: str
    kind: str
    quantity: str
    since: date | None
    since_low: date | None
    since_high: date | None
    until: date | None
    estimate: float
    low: float
    high: float
    unit: str
    q_value: float
    n_fits: int
    n_riders: int
    words: str = ""

    @property
    def key(self) -> str:
        """What a task about it is about."""
        return f"{self.studio} {self.kind} {self.quantity} {self.since}"

    @property
    def share_is_all(self) -> bool:
        """Whether an exchange is one of all captures, not of some of them."""
        return self.kind == "exchange" and self.estimate >= _ALL

    @property
    def begins(self) -> bool:
        """Whether it begins on a day before which all was well."""
        return self.since is not None and self.kind != "slope" and not self.unit.endswith(A_MONTH)

    def overlaps(self, first: date | None, last: date | None) -> bool:
        """Whether fits from `first` to `last` (None: open) lie within what is found."""
        return not ((self.since and last and last < self.since) or (self.until and first and first > self.until))


def spoken(finding: RigFinding) -> str:
    """The finding as a sentence, with what to look at."""
    return {"step": _step, "slope": _slope, "side": _side, "exchange": _exchange, "noise": _noise}[finding.kind](finding)


def in_short(finding: RigFinding) -> str:
    """The finding for a title, as in: arrivals stand 0.8° further out."""
    does, more, less = _FURTHER[finding.quantity]
    sign, decimals, every = _written(finding.unit)
    size = f"{abs(finding.estimate):.{decimals}f}{sign}{every} {more if finding.estimate > 0 else less}"
    if finding.kind == "exchange":
        return f"left and right exchanged{'' if finding.share_is_all else ' in some captures'}"
    if finding.kind == "noise":
        return f"{'more' if finding.estimate > 1 else 'less'} noise in {finding.quantity}"
    return f"{'right knees' if finding.kind == 'side' else 'arrivals'} {does} {size}"


def _step(finding: RigFinding) -> str:
    return f"Arrivals at {finding.studio} {_elsewhere(finding)} since {_since(finding)}. Check the rig's zero."


def _slope(finding: RigFinding) -> str:
    return f"Arrivals at {finding.studio} {_elsewhere(finding)}, month by month. Set the rig's zero anew, and more often."


def _side(finding: RigFinding) -> str:
    stand = f"Right knees at {finding.studio} {_elsewhere(finding)} against left ones"
    if finding.unit.endswith(A_MONTH):
        when = ", month by month"
    elif finding.since is None:
        when = " in all fits, more than the feet explain"
    else:
        when = f" than before, since {_since(finding)}"
    return f"{stand}{when}. Check that the rig stands level and straight."


def _exchange(finding: RigFinding) -> str:
    if finding.share_is_all:
        return (
            f"Left and right are exchanged at {finding.studio}{stretch(finding)}: supports under one foot move the other "
            "knee. Check which marker is which, and how the export is mapped."
        )
    low, share, high = (f"{100 * value:.0f}" for value in (finding.low, finding.estimate, finding.high))
    return (
        f"Left and right change places at {finding.studio} in about {share}{_GAP}% of captures ({low} to {high}{_GAP}%)"
        f"{stretch(finding)}. Check which marker is which before recording."
    )


def _noise(finding: RigFinding) -> str:
    is_more = finding.estimate > 1
    low, times, high = sorted(value if is_more else 1 / value for value in (finding.low, finding.estimate, finding.high))
    apart = f"{times:.1f} times {'further apart' if is_more else 'nearer together'}"
    return (
        f"Captures with nothing changed lie {apart} in {finding.quantity} at {finding.studio} since "
        f"{_since(finding, f'{low:.1f} to {high:.1f} times')}. Check markers, light and calibration."
    )


def _elsewhere(finding: RigFinding) -> str:
    """As in: stand 0.8° (0.5 to 1.1°) further out."""
    does, more, less = _FURTHER[finding.quantity]
    sign, decimals, every = _written(finding.unit)
    low, high = sorted(abs(value) for value in (finding.low, finding.high))
    size = f"{abs(finding.estimate):.{decimals}f}{sign}{every} ({low:.{decimals}f} to {high:.{decimals}f}{sign})"
    return f"{does} {size} {more if finding.estimate > 0 else less}"


def _written(unit: str) -> tuple[str, int, str]:
    """The sign of a unit, its decimals, and what follows where it is a month's."""
    every = " a month" if unit.endswith(A_MONTH) else ""
    return _SIGNS.get(unit.removesuffix(A_MONTH), ""), 2 if every else 1, every


def _since(finding: RigFinding, beside: str = "") -> str:
    """The day, and in brackets what is told beside it and the days between which it began."""
    assert finding.since and finding.since_low and finding.since_high
    low, high = finding.since_low, finding.since_high
    between = f"it began between {spoken_day(low, low.year != high.year)} and {spoken_day(high)}" if low < high else ""
    told = "; ".join(part for part in (beside, between) if part)
    return f"{spoken_day(finding.since)}{f' ({told})' if told else ''}"


def stretch(finding: RigFinding) -> str:
    """From when to when an exchange holds, as in: since 3 May 2026."""
    if finding.since is None and finding.until is None:
        return " in all fits"
    if finding.since is None:
        return f" until {spoken_day(finding.until)}" if finding.until else ""
    if finding.until is None:
        return f" since {spoken_day(finding.since)}"
    return f" from {spoken_day(finding.since)} to {spoken_day(finding.until)}"


def day_of(number: int) -> date:
    """The date of a day counted from 1 January 1970."""
    return date(1970, 1, 1) + timedelta(days=number)
