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
    "off_neutral": Outcome("Off neutral", "distance from neutral tilt in degrees", "nearer", "further"),
}
# The three that a page opens with.
MAIN_OUTCOMES: Final = ("tilt", "sway", "offset")

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
