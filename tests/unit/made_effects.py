"""Effects written by hand with everything that stands beside them: levels, doses, directions, shares, single riders."""

from dataclasses import replace

from dashboard.questions.effects.answers_effects import DoseRow, Effects, FamilyRow, InfluenceRow, NeutralRow, ResponderRow
from tests.unit.made_answers import made_effects

_NONE = (None,) * 8


def dose(support: str, size: float, pooled: float | None, n_changes: int) -> DoseRow:
    unit = "shims" if support == "shim" else "mm"
    figures = _NONE
    if pooled is not None:
        figures = (pooled, pooled - 0.2, pooled + 0.2, pooled + 0.1, pooled - 0.2, pooled + 0.4, pooled - 0.2, pooled + 0.4)
    made = DoseRow("tilt", support, "deg", size, unit, n_changes, n_changes, *figures, 0.5 * size, 0.42, "A made sentence.")
    if pooled is None:
        return made
    # What chance may bring is the dose of one, so that what is claimed and what is not both stand in the charts.
    sure = 0.001 if size != 1 else 0.05
    ends = {"told_low": made.bracket_low, "told_high": made.bracket_high, "told_by": "bracket"}
    return replace(made, **ends, q_value=sure, line_q_value=0.5)


DOSES = (
    dose("shim", 2, 1.0, 620),
    dose("shim", -1, -0.5, 263),
    dose("shim", 1, 0.5, 1429),
    dose("shim", 3, None, 6),
    dose("stance", 2, -0.3, 197),
    dose("stance", 4, -0.5, 224),
)
NEUTRAL = (
    NeutralRow(
        "inward", 1161, 589, -1.09, -0.15, -0.94, -1.0, -0.88, "Knees that came inward left nearer.", 0.001, -1.0, -0.88, "net"
    ),
    NeutralRow(
        "near neutral",
        1025,
        579,
        0.4,
        0.32,
        0.08,
        0.04,
        0.13,
        "Knees that came near neutral left further.",
        0.01,
        0.04,
        0.13,
        "net",
    ),
    NeutralRow("outward", 4, 3, None, None, None, None, None, "Knees that came outward: not enough yet, 4 knees."),
)
FAMILIES = (
    FamilyRow(
        "tilt", "shim", "deg", "foot_type", 4, 0.5, 0.4, 0.6, 0.1, 0.3, 0.7, 0.01, "One more shim differs between levels.", 0.04
    ),
    FamilyRow(
        "tilt",
        "stance",
        "deg",
        "foot_type",
        4,
        0.5,
        0.4,
        0.6,
        0.0,
        0.4,
        0.6,
        0.04,
        "shows no clear difference between levels",
        0.05,
    ),
)
INFLUENCE = (
    InfluenceRow("tilt", "shim", "deg", 0.5, 0.48, 0.52, 0.53, 0.51, 0.54, "R1", "R2", "R5", "R6"),
    InfluenceRow("sway", "stance", "mm", 0.02, -0.01, 0.03, 0.02, 0.01, 0.03, "R3", "R4", "R7", "R8"),
)
RESPONDERS = (
    ResponderRow("tilt", "better", 1.7, "deg", 323, 2775, 0.116, 0.104, 0.129, "12 % of knees left nearer to neutral."),
    ResponderRow("tilt", "worse", 1.7, "deg", 74, 2775, 0.027, 0.021, 0.034, "3 % of knees left further from neutral."),
)


def made_whole_effects(split: str | None = None) -> Effects:
    made = made_effects(split)
    return replace(
        made,
        dose=DOSES,
        off_neutral=NEUTRAL,
        families=FAMILIES if split else (),
        influence=INFLUENCE,
        responders=RESPONDERS,
    )
