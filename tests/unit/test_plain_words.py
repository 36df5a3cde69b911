"""What a page answers and shows is said without words of statistics, or with their plain names beside them.

Every place of every view is asked for the demo, as a served page is; what is folded away, and views of method, may say more.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.components.address import Addresses
from dashboard.components.page import Desk, Page
from dashboard.components.places import filled
from dashboard.figures.names import MEASURES, PLAIN
from dashboard.pages import PAGES
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL
from shared.settings import Settings

# Views that are method as a whole, by page and view.
METHOD = {("supports", "how-far-to-trust-it"), ("data", "where-from")}
SEARCH = {"riders": "?rider=R0487"}
# Other names of what has one.
SYNONYMS = {"off neutral": "off_neutral", "deviation": "off_neutral", "asymmetry": "side_difference",
            "minimal detectable": "smallest_real_change", "mdc": "smallest_real_change", "cleat width": "stance"}  # fmt: skip
_SENTENCE = re.compile(r"(?<=[.?!])\s")


@pytest.fixture(scope="module")
def desk(demo_warehouse: Path) -> Desk:
    return Desk(AskedBy(Asker(demo_warehouse, Settings()), lambda: LOCAL), Addresses("/"))


def shown(node: Any) -> Iterator[str]:
    """The text of each element that stands open on the page, and the words in its charts."""
    if isinstance(node, list | tuple):
        for part in node:
            yield from shown(part)
    elif hasattr(node, "to_plotly_json") and type(node).__name__ != "Details":
        if type(node).__name__ == "Graph":
            yield from drawn(node.figure)
        inside = getattr(node, "children", None)
        if isinstance(inside, list | tuple) and any(isinstance(part, str) for part in inside):
            yield "".join(text(part) for part in inside)
        yield from [inside] if isinstance(inside, str) else shown(inside)


def text(node: Any) -> str:
    """An element's words in one piece."""
    if isinstance(node, list | tuple):
        return "".join(text(part) for part in node)
    return node if isinstance(node, str) else text(node.children) if hasattr(node, "children") else str(node or "")


def drawn(figure: dict[str, Any]) -> Iterator[str]:
    layout = figure["layout"]
    yield from (one["text"] for one in layout.get("annotations", ()))
    for axis in (part for name, part in layout.items() if name[1:].startswith("axis")):
        yield from [axis.get("title", {}).get("text", ""), *map(str, axis.get("ticktext") or ())]
    yield from (str(words) for trace in figure["data"] if "text" in str(trace.get("mode")) for words in trace["text"])


def offending(words: str) -> Iterator[str]:
    for sentence in _SENTENCE.split(words.replace("\N{NO-BREAK SPACE}", " ")):
        for pattern, plain in PLAIN.items():
            if re.search(rf"\b{pattern}(?!\w)", sentence, re.IGNORECASE) and plain not in sentence.lower():
                yield f"{re.search(pattern, sentence, re.IGNORECASE)[0]!r} ({plain}) in: {sentence}"  # type: ignore[index]
        for synonym, key in SYNONYMS.items():
            if re.search(rf"\b{synonym}\b", sentence, re.IGNORECASE):
                yield f"{synonym!r} for {MEASURES[key][0]!r} in: {sentence}"


@pytest.mark.parametrize(
    ("words", "n"),
    [
        ("The pooled estimate is 0.5°.", 1),
        ("The pooled estimate, of all captures, is 0.5°.", 0),
        ("Few differ (p < 0.001).", 1),
        ("Phi is 1.3.", 1),
        ("Philip's knees are off neutral.", 1),
        ("Below the axis, how many were at risk. They were not yet seen again.", 1),
        ("At risk: not yet seen again", 0),
        ("A clear change: nearer to neutral by 0.9°.", 0),
    ],
)
def test_a_word_of_statistics_is_found_where_its_plain_name_is_not_beside_it(words: str, n: int) -> None:
    assert len(list(offending(words))) == n


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_page_says_it_plainly(desk: Desk, page: Page) -> None:
    method = {place for view in page.views if (page.path, view.path) in METHOD for place in view.shows(desk)}
    fills = {place: fill for place, fill in filled(page, desk).items() if place not in method}
    found = {
        one for fill in fills.values() for words in shown(fill(SEARCH.get(page.path, ""), None)) for one in offending(words)
    }
    assert not found, "\n".join(sorted(found))
