"""Every question there is, one entry each: to add one, add its entry."""

from collections.abc import Mapping
from typing import Final

from dashboard.questions.door import following
from dashboard.questions.door.counted_rows import Counted
from dashboard.questions.door.following import VISITS_AT_RISK
from dashboard.questions.door.notes import calls_without_measures, data_without_notes, timeline_without_notes
from dashboard.questions.door.question import OwnRows, Question, Sight
from shared.errors import UsageError

_OF_LEVEL = ("split", "level")
_MOMENTS = ("from_moment", "to_moment")
_PATTERNS = ("arrival_pattern", "departure_pattern")
_CHANGES = ("n_resolved", "n_persisting", "n_new", "n_none")
# What an effect of a support needs: the supports as they stood, and what was measured with them.
_SUPPORTS: Final = ("knee_captures", "foot_setups")
_AT_RISK = Counted((*_OF_LEVEL, "days"), riders=("n_at_risk",), visits=VISITS_AT_RISK)

_ALL: Final = (
    Question(
        "effects",
        "effects.effects",
        Sight(
            figures={
                "effects": Counted(("outcome", "support", *_OF_LEVEL), ("level",)),
                "dose": Counted(("outcome", "support", "dose"), ("dose",)),
                "responders": Counted(("outcome", "response"), cells=("n",), units="total"),
                "off_neutral": Counted(("arrival_direction",), ("arrival_direction",), units="n_knees"),
            },
            following=frozenset({"families"}),
            follow=following.effects,
            own_only=frozenset({"influence", "residuals"}),
            is_modelled=True,
        ),
        leans_on=("rig",),
        stands_on=_SUPPORTS,
        instead="effects.plain_change",
    ),
    Question(
        "checks",
        "effects.checks",
        Sight(figures={"checks": Counted(("outcome", "check"))}, is_modelled=True),
        follows_split=False,
        stands_on=_SUPPORTS,
    ),
    Question(
        "power",
        "effects.power",
        Sight(figures={"power": Counted(("outcome", "support"))}, is_modelled=True),
        follows_split=False,
        stands_on=_SUPPORTS,
    ),
    Question(
        "studio",
        "studio.studio",
        Sight(
            figures={"figures": Counted(("figure",), units="n"), "trend": Counted(("figure", "month"), ("month",), units="n")},
            quoted={"figures": lambda row: row.figure == "comfort_gained"},
        ),
        follows_split=False,
    ),
    Question(
        "noise",
        "data.noise",
        Sight(
            figures={"noise": Counted(("outcome",)), "groups": Counted(("group", "level", "outcome"), ("level",))},
            quoted={"noise": lambda row: row.outcome == "tilt"},
            own_rows={"groups": OwnRows("level", by="group", of_nobody=frozenset({"side", "studio", "quarter"}))},
        ),
        follows_split=False,
    ),
    Question(
        "foresight",
        "foresight.foresight",
        Sight(
            figures={
                "foresight": Counted(("outcome", "group", "level"), ("level",)),
                "reliability": Counted(("outcome", "part"), ("part",)),
            },
            quoted={"foresight": lambda row: row.group == "last" and row.outcome == "tilt"},
            own_rows={"foresight": OwnRows("level", by="group", of_nobody=frozenset({"all", "last", "foot_type", "month"}))},
            is_modelled=True,
        ),
        follows_split=False,
        stands_on=_SUPPORTS,
    ),
    Question(
        "next",
        "foresight.next_rider",
        Sight(is_case=True, own_cases=frozenset({"setups", "alike"})),
        follows_split=False,
        stands_on=_SUPPORTS,
    ),
    Question(
        "drawn",
        "drawn.drawn",
        Sight(
            own_words="What drawn orders say is for the head fitter and the owner: who draws had better not know it.",
            kept=frozenset({"comparisons", "arms", "draws"}),
        ),
        follows_split=False,
        knows_logbook=True,
    ),
    Question(
        "rig",
        "data.rig",
        Sight(
            figures={
                "findings": Counted(("studio", "kind", "quantity", "since"), units="n_fits"),
                "months": Counted(("studio", "knees", "month"), ("month",), units="n_fits"),
            }
        ),
        follows_split=False,
        stands_on=("knee_captures",),
    ),
    Question(
        "data",
        "data.data",
        Sight(
            following=frozenset({"tables", "loads", "reasons", "quality", "left_out", "exams", "absent"}),
            follow=following.data,
            kept=frozenset({"rejects", "warnings", "waiting"}),
            of_all_fits=True,
            is_one_whole=True,
            without_notes=data_without_notes,
        ),
        follows_split=False,
    ),
    Question(
        "returns",
        "returns.returns",
        Sight(
            figures={
                "figures": Counted(("figure", *_OF_LEVEL), ("level",), units="n"),
                "curve": _AT_RISK,
                "at_risk": _AT_RISK,
                "held": Counted(("became",), ("became",), cells=("n",), units="n_fits"),
                "lasting": Counted(("outcome",), riders=("n_riders_seen",), units="n_seen"),
                "said": Counted(("topic",), units="n"),
                "worth": Counted(("topic", "verdict"), ("verdict",), cells=("n",), units="n_fits"),
            },
            following=frozenset({"comparisons"}),
            follow=following.returns,
        ),
        leans_on=("noise", "important_change"),
        stands_on=("follow_ups",),
        instead="returns.visits_alone",
    ),
    Question(
        "important_change",
        "followed.important_change",
        Sight(figures={"changes": Counted(("topic",), cells=("n_better",))}, is_modelled=True),
        follows_split=False,
        stands_on=("follow_ups.change_rating",),
    ),
    Question(
        "calls",
        "returns.calls",
        Sight(
            is_case=True,
            own_cases=frozenset({"calls", "booked", "marked"}),
            following=frozenset({"states"}),
            for_desk=calls_without_measures,
        ),
        follows_split=False,
        knows_today=True,
        knows_entries=("call",),
        stands_on=("follow_ups",),
        instead="returns.visits_alone",
    ),
    Question(
        "trends",
        "studio.trends",
        Sight(
            figures={"trend": Counted(("figure", "period"), ("period",), units="n")},
            following=frozenset({"charts", "signals", "beside", "notes", "goals"}),
            follow=following.trends,
            own_rows={
                "beside": OwnRows(
                    by="beside",
                    of_nobody=frozenset({"tilt_arrival", "sway_arrival", "first_fits", "typical_error_tilt"}),
                )
            },
        ),
        follows_split=False,
        knows_today=True,
        by_period=True,
        knows_entries=("goal", "note"),
        leans_on=("rig",),
    ),
    Question(
        "fitters",
        "coaching.fitters",
        Sight(
            following=frozenset({"dispersion", "funnel"}),
            follow=following.fitters,
            own_words="Your own fits beside what is expected of their riders; those of others are for the head fitter.",
            own_rows={"fitters": OwnRows("fitter_id"), "process": OwnRows("fitter_id")},
            of_all_fits=True,
        ),
        follows_split=False,
    ),
    Question(
        "asymmetry",
        "symmetry.asymmetry",
        Sight(
            figures={
                "prevalence": Counted(("quantity", "moment", *_OF_LEVEL), ("level",)),
                "change": Counted(("finding", *_OF_LEVEL), ("level",), cells=_CHANGES),
                "patterns": Counted(("finding", *_OF_LEVEL), ("level",), cells=_CHANGES),
                "differences": Counted(("quantity", "moment", *_OF_LEVEL), ("level",), units="n_fits"),
                "curve": Counted(("quantity", "moment", "limit")),
                "flow": Counted(_PATTERNS, _PATTERNS, cells=("n_riders",)),
                "repeats": Counted(("quantity",), cells=("n_no_longer",)),
            },
            follow=following.asymmetry,
            quoted={
                "prevalence": lambda row: row.level is None and (row.quantity, row.moment) == ("tilt", "arrival"),
                "change": lambda row: row.level is None and row.finding.endswith("tilt"),
            },
            own_cases=frozenset({"knees"}),
        ),
        leans_on=("rig",),
        stands_on=("knee_captures",),
    ),
    Question(
        "ratings",
        "studio.ratings",
        Sight(
            figures={
                "ratings": Counted(("topic", *_MOMENTS, *_OF_LEVEL), ("level",)),
                "body_parts": Counted(("topic", "body_part", *_MOMENTS), ("body_part",)),
            },
            quoted={"ratings": lambda row: row.level is None and row.topic == "comfort"},
        ),
        stands_on=("rider_ratings",),
    ),
    Question(
        "types",
        "symmetry.types",
        Sight(
            figures={
                "types": Counted(("column", "kind", *_OF_LEVEL), ("level",), cells=("n_feet_of_kind",), units="n_feet"),
                "alike": Counted(("column",), cells=("n_alike",)),
            },
            quoted={"types": lambda row: row.level is None and row.kind == "varus"},
        ),
        stands_on=("foot_exams",),
    ),
    Question(
        "agreement",
        "coaching.agreement",
        Sight(
            figures={
                "agreement": Counted(("by", "level"), ("level",), units="n_judged"),
                "months": Counted(("by", "level"), ("level",), units="n_judged"),
                "rules": Counted(("rule",), cells=("n_notes", "n_flags"), units="n_asked"),
                "outcomes": Counted(("outcome",), units="n_fits"),
                "shim_places": Counted(("outcome", "place")),
            },
            follow=following.agreement,
            quoted={"agreement": lambda row: row.level is None},
            own_cases=frozenset({"look_at", "worst", "fitters"}),
            own_rows={"fitters": OwnRows("level")},
        ),
        leans_on=("rig",),
        stands_on=("foot_exams", "foot_setups"),
    ),
    Question(
        "sides",
        "symmetry.sides",
        Sight(
            own_words="Left against right shows one rider a point, and is for the head fitter and the owner.",
            own_only=frozenset({"sides"}),
        ),
        follows_split=False,
        stands_on=("knee_captures.knee_tilt_deg",),
    ),
    Question(
        "riders",
        "riders.riders",
        Sight(is_case=True, without_notes=timeline_without_notes),
        follows_split=False,
        leans_on=("noise", "important_change"),
        knows_today=True,
    ),
    Question(
        "periods",
        "studio.periods",
        Sight(
            figures={
                "periods": Counted(("figure", "which", "date_from", "date_to"), units="n"),
                "changes": Counted(("figure", "against"), riders=("n_riders_this", "n_riders_against")),
            },
            follow=following.periods,
            quoted={"changes": lambda row: True},
            # Two shares of one whole give the third, however few knees it is.
            kept=frozenset({"knees"}),
        ),
        follows_split=False,
        leans_on=("rig",),
        knows_today=True,
    ),
    Question(
        "studios",
        "studio.studios",
        Sight(
            own_words="One studio beside the other is for the head fitter and the owner.",
            kept=frozenset({"figures", "differences"}),
        ),
        follows_split=False,
        leans_on=("rig",),
    ),
)
QUESTIONS: Final[Mapping[str, Question]] = {question.name: question for question in _ALL}


def question_named(name: str) -> Question:
    """The question of this name. Raises UsageError where there is none."""
    if name not in QUESTIONS:
        raise UsageError(f"{name!r} is no question; expected one of {', '.join(QUESTIONS)}.")
    return QUESTIONS[name]


def by_period(question: str, every: str | None) -> dict[str, tuple[str, ...]]:
    """What `ask` is given beside the selection where periods are asked for: `every`, or nothing.

    Raises UsageError where the question is not told by period.
    """
    if not every:
        return {}
    if not question_named(question).by_period:
        offered = ", ".join(name for name, asked in QUESTIONS.items() if asked.by_period)
        raise UsageError(f"every: {question} is not told by period, only {offered}. Leave the word out.")
    return {"every": (every,)}
