"""The printed names of supports, outcomes, headline figures and columns, in their fixed order."""

from dataclasses import dataclass
from typing import Final

from dashboard.questions.studio.headline_figures import HEADLINE


@dataclass(frozen=True)
class Outcome:
    """An outcome's name, what its unit is called on an axis, and what less and more of it means."""

    name: str
    axis: str
    less: str
    more: str


OUTCOMES: Final = {
    "tilt": Outcome("Tilt", "tilt in degrees", "inward", "outward"),
    "sway": Outcome("Sway", "sway in mm", "less", "more"),
    "offset": Outcome("Offset", "offset in mm", "inward", "outward"),
    "off_neutral": Outcome("Distance from neutral", "distance from neutral tilt in degrees", "nearer", "further"),
}
# The three that a page opens with.
MAIN_OUTCOMES: Final = ("tilt", "sway", "offset")

# What is measured, set or told by a word that is explained (components/definitions): its name, then how it is spelt within a
# sentence. No other name stands for it. A forefoot may be neutral too, so that the word alone is not the knee's.
MEASURES: Final[dict[str, tuple[str, ...]]] = {
    "tilt": (OUTCOMES["tilt"].name, "tilt"),
    "sway": (OUTCOMES["sway"].name, "sway"),
    "offset": (OUTCOMES["offset"].name, "offset"),
    "neutral": ("Neutral", "near neutral", "neutral tilt", "neutral knee", "neutral knees"),
    "off_neutral": (
        OUTCOMES["off_neutral"].name,
        "nearer to neutral",
        "further from neutral",
        "distance from neutral",
        "from neutral",
    ),
    "side_difference": ("Side difference", "side difference", "side differences"),
    "stance": ("Stance", "stance"),
    "insole_level": ("Insole level", "insole level", "insole levels", "insole", "insoles"),
    "shim": ("Varus shim", "varus shim", "varus shims", "shim", "shims"),
    "typical_error": ("Typical error", "typical error"),
    "smallest_real_change": ("Smallest real change", "smallest real change"),
    "important_change": ("Worth it", "worth it"),
    "interval": ("Interval", "interval", "intervals", "clear change"),
}

# Words of statistics, as patterns, and the plain name that stands for each where a page answers or shows. Where the word itself
# is wanted, its plain name stands in the same sentence or heading. Method, folded or a view of its own, may use them freely.
PLAIN: Final = {
    r"pooled": "all captures",
    r"within-knee": "each knee against itself",
    r"told interval": "both estimates",
    r"at risk": "not yet seen again",
    r"drawn towards? (?:zero|nothing|the)": "the fewer there are",
    r"regression to the mean": "by noise alone",
    r"confidence interval": "interval",
    r"(?:statistically )?significant(?:ly)?": "clear",
    r"phi": "beyond chance",
    r"overdispersion": "beyond chance",
    r"p(?:-value)?s? ?[=<≤]": "by chance alone",
    r"q(?:-value)?s? ?[=<≤]": "by chance alone",
    r"[pq]-values?": "by chance alone",
    r"log-rank": "over the whole curve",
    r"censored|censoring": "not seen to the end",
    r"standard error": "typical error",
    r"degrees of freedom|random intercepts?|reml|mixed model|likelihood|logistic|least squares|variance": "how it is computed",
    r"case[- ]mix": "who came",
    r"exact binomial": "limits",
}

SUPPORTS: Final = {
    "insole_low": "Low insole",
    "insole_medium": "Medium insole",
    "insole_high": "High insole",
    "insole_custom": "Custom insole",
    "shim": "One more shim",
    "stance": "One mm of stance",
}

CHECKS: Final = {
    "late": "An effect one capture late",
    "insole_shim": "A shim without an insole, and on one",
    "shim_bend": "The first shim, and each further one",
    "stance_bend": "Stance up to the limit, and beyond",
    "order_arch": "A drift on a high arch less a low one",
}

FIGURES: Final = HEADLINE

WORDS: Final = {
    "from": "From",
    "to": "To",
    "studio": "Studio",
    "fitter": "Fitter",
    "visit_kind": "Visit",
    "bike_kind": "Bike",
    "riding": "Riding",
    "arch_height": "Arch",
    "forefoot": "Forefoot",
    "side": "Side",
    "split": "Split by",
}


def unit_words(outcome: str) -> str:
    """The outcome's unit as a word: degrees or mm."""
    return OUTCOMES[outcome].axis.rsplit(" in ", 1)[1]


def table_name(table: str) -> str:
    """A table as words: knee captures, follow-ups."""
    return plain(table).replace("follow up", "follow-up")


def plain(code: str | None) -> str:
    """A code as words: mild_varus becomes mild varus."""
    return "" if code is None else code.replace("_", " ")
