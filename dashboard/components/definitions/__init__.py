"""What the words of the pages mean, one tap away on every page: a panel with a definition and a drawing each.

The texts stand in words.md, the drawings beside it; names are those of figures/names.py. The panel is a part of the page around
the page (index.html), closed until the button in the header, or a marked word in the text, opens it (assets/words.js).
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from markupsafe import Markup

from dashboard.components.text import read_text
from dashboard.figures.names import MEASURES
from shared.settings import Settings

PANEL: Final = "words"
BUTTON: Final = "words-button"
_HERE: Final = Path(__file__).parent


@dataclass(frozen=True)
class Definition:
    """A word: its key and name, what it means, what its drawing shows, and the drawing."""

    key: str
    name: str
    said: str
    seen: str
    drawing: str


@cache
def definitions(settings: Settings) -> tuple[Definition, ...]:
    """Every word in order, with the studio's own limits in its definition."""
    limits = {
        "neutral": f"{settings.knee.neutral_within_deg:g}°",
        "side": f"{settings.knee.side_difference_deg:g}°",
    }
    return tuple(
        Definition(
            key,
            MEASURES[key][0],
            said.format(**limits),
            seen,
            (_HERE / "drawings" / f"{key}.svg").read_text(encoding="utf-8"),
        )
        for key, (said, seen) in read_text(_HERE / "words.md").items()
    )


def glossary(settings: Settings) -> Markup:
    """All definitions with their drawings, for a page or a report: sections with an id each."""
    return Markup("\n").join(
        Markup(
            '<section class="word" id="word-{key}" data-spelt="{spelt}">'
            '<figure role="img" aria-label="{seen}">{drawing}</figure><div><h3>{name}</h3><p>{said}</p></div></section>'
        ).format(
            key=one.key,
            spelt="|".join(MEASURES[one.key][1:]),
            seen=one.seen,
            drawing=Markup(one.drawing),  # our own file
            name=one.name,
            said=one.said,
        )
        for one in definitions(settings)
    )


def panel(settings: Settings) -> str:
    """The panel, as it stands in the page around the page."""
    return str(
        Markup(
            '<div id="{id}" class="words" popover role="dialog" aria-label="{title}" tabindex="-1">'
            '<div class="words-head"><h2>{title}</h2><button type="button" class="button" popovertarget="{id}" '
            'popovertargetaction="hide">Close</button></div>{inside}</div>'
        ).format(id=PANEL, title="What the words mean", inside=glossary(settings))
    )
