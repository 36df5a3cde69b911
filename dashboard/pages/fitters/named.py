"""Fitters by name beside their id, for readers who see all of a studio's cases: owner, head fitter, who sits at the machine."""

import re
from collections.abc import Mapping

from dashboard.components.page import Desk
from dashboard.questions.coaching.fitters_named import fitter_names

Names = Mapping[str, str]


def names_for(desk: Desk) -> Names:
    """The names by id that the reader may see; none for a fitter."""
    return desk.asker.look_up(fitter_names) if desk.with_names and desk.asker.fitter is None else {}


def called(fitter: str, names: Names) -> str:
    """A fitter as told on the page: Alder (F1), or F1 where no name is known or may be seen."""
    return f"{names[fitter]} ({fitter})" if fitter in names else fitter


def with_names(words: str, names: Names) -> str:
    """A sentence of an answer, whose fitters are ids, with their names."""
    if not names:
        return words
    ids = "|".join(re.escape(fitter) for fitter in sorted(names, key=len, reverse=True))
    return re.sub(rf"(?<![\w-])(?:{ids})(?![\w-])", lambda found: called(found[0], names), words)
