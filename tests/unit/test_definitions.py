"""The words that are explained: which, how they are named, and that page and panel carry them."""

import json
import re
from html.parser import HTMLParser

from dashboard.app import create_app
from dashboard.components.definitions import definitions, glossary
from dashboard.figures.names import MEASURES, OUTCOMES
from shared.settings import Settings
from tests.unit.made_answers import MadeAsker


def test_every_word_that_stands_on_the_pages_is_explained() -> None:
    named = {one.key: one.name for one in definitions(Settings())}
    assert list(named.values()) == [
        "Tilt", "Sway", "Offset", "Neutral", "Distance from neutral", "Side difference", "Stance", "Insole level", "Varus shim",
        "Typical error", "Smallest real change", "Worth it", "Interval",
    ]  # fmt: skip
    assert set(named) == set(MEASURES)
    assert {key: outcome.name for key, outcome in OUTCOMES.items()}.items() <= named.items()


def test_a_definition_follows_the_settings_of_the_studio() -> None:
    settings = Settings.model_validate({"knee": {"neutral_within_deg": 1.5, "side_difference_deg": 3}})
    said = {one.key: one.said for one in definitions(settings)}
    assert "within 1.5° of zero" in said["neutral"]
    assert "3° apart or more" in said["side_difference"]
    assert "{" not in "".join(said.values())


def test_a_definition_is_short_and_its_drawing_is_told_in_words() -> None:
    for one in definitions(Settings()):
        assert len(one.said.split()) <= 40, one.name
        assert one.drawing.startswith("<svg") and 'aria-hidden="true"' in one.drawing
        assert len(one.seen.split()) >= 8, one.name
        # The colours are the theme's.
        assert not re.search(r"#[0-9A-Fa-f]{3}|style=|rgb", one.drawing)


class _Open(HTMLParser):
    """What stands in a page, by id."""

    def __init__(self) -> None:
        super().__init__()
        self.by_id: dict[str, dict[str, str | None]] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.by_id[given.get("id") or f"{tag} {len(self.by_id)}"] = given


def test_the_panel_comes_with_the_page_and_one_button_opens_it() -> None:
    page = create_app(MadeAsker()).server.test_client().get("/supports").get_data(as_text=True)  # type: ignore[arg-type]
    read = _Open()
    read.feed(page)
    assert "popover" in read.by_id["words"] and read.by_id["words"]["aria-label"] == "What the words mean"
    assert read.by_id["word-off_neutral"]["data-spelt"].split("|")[2] == "distance from neutral"  # type: ignore[union-attr]
    layout = json.loads(re.search(r'data-answers="_dash-layout">(.*?)</script>', page, re.DOTALL).group(1))  # type: ignore[union-attr]
    assert json.dumps(layout).count("words-button") == 1
    assert str(glossary(Settings())) in page


def test_a_neutral_forefoot_is_not_the_neutral_of_a_knee() -> None:
    spelt = re.search(r'id="word-neutral" data-spelt="([^"]+)"', str(glossary(Settings())))
    assert spelt and "neutral" not in spelt[1].split("|")
