"""What a studio may leave unrecorded, and what is not told without it: absent is told as such, and never as zero."""

from typing import Final

# By table, or by table and column: what is not told without it. The one place of these words; a check, an answer and a page
# that stand on it say the same.
COSTS: Final = {
    "riders": "visits name riders who are not there, so that none of them is taken in",
    "fitters": "visits name fitters who are not there, so that none of them is taken in",
    "fit_sessions": "no visit is known: captures, exams and setups wait for theirs, and nothing is told",
    "foot_exams": "nothing is told by type of foot: no effect of a support for a low arch or a varus forefoot, no agreement of "
    "fitters on feet",
    "knee_captures": "tilt, sway and offset are not told: no change over a fit, no effect of any support, no noise",
    "knee_captures.knee_tilt_deg": "no tilt, no distance from neutral and no pattern of the knees is told",
    "knee_captures.knee_sway_mm": "no sway is told, nor whether a knee is looping",
    "knee_captures.knee_offset_mm": "no offset is told",
    "foot_setups": "no effect of insoles, shims or stance is told, nor the noise, which comes from captures in which nothing "
    "was changed",
    "bike_measures": "a rider's page does not tell what was changed on the bicycle",
    "rider_ratings": "comfort and what else riders say before and after is not told",
    "follow_ups": "what was booked, who is overdue and how a setup was liked is not told: no rate of returns stands on it",
    "follow_ups.setup_kept": "whether a setup was kept is not told",
    "follow_ups.satisfaction": "how satisfied riders were at the follow-up is not told",
    "follow_ups.pain": "what pain riders had at the follow-up is not told",
    "follow_ups.change_rating": "from how many points on a change of comfort or pain matters to riders is not told",
}


def not_recorded(absent: tuple[str, ...]) -> str:
    """What stands in the place of a figure: not recorded here, by table or column; empty where nothing is absent."""
    return f"not recorded here ({named(absent)})" if absent else ""


def named(absent: tuple[str, ...]) -> str:
    """As in: follow_ups, foot_exams and foot_setups."""
    return " and ".join(filter(None, (", ".join(absent[:-1]), *absent[-1:])))


def cost_words(stand: str) -> str:
    """One sentence on what is not told without a table or column, as in: follow_ups is not recorded: what was booked …"""
    return f"{stand} is not recorded: {COSTS[stand]}."
