"""The letter as mail programs show it: wide, narrow, and as text; its size with both charts, and the page that ends it."""

import base64
import re
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from dashboard.app import create_app
from dashboard.letters.content import letter_to
from dashboard.letters.stopping import PATH, stop_address
from dashboard.letters.written import LARGEST_BYTES, Envelope, message_of, pictures_of
from dashboard.questions.door.asking import Asker
from shared.logbook.letters import Letters
from shared.settings_letters import Letters as LetterSettings
from tests.unit.test_letters import part_of, received

pytestmark = pytest.mark.browser

BASE = "https://fits.example.org/studio/"


@pytest.fixture(scope="module")
def shown(asker: Asker) -> tuple[str, int]:
    """The owner's letter of the demo as HTML with its pictures in it, and its size in bytes."""
    letter = letter_to("owner", asker, BASE)
    with ThreadPoolExecutor(1) as pool:  # Playwright runs once in each thread
        pictures = pool.submit(pictures_of, letter).result()
    envelope = Envelope(
        "f@example.org", "o@example.org", "Why.", f"{BASE}{PATH}?token=x", "key", datetime(2026, 8, 31, tzinfo=UTC)
    )
    message = message_of(letter, pictures, envelope)
    html = part_of(received(message), "html")
    for part in received(message).walk():
        if cid := part["Content-ID"]:
            data = base64.b64encode(part.get_content()).decode()
            html = html.replace(f"cid:{cid.strip('<>')}", f"data:image/png;base64,{data}")
    return html, len(message.as_bytes())


def test_the_letter_has_both_charts_and_is_small(shown: tuple[str, int]) -> None:
    html, size = shown
    assert html.count("data:image/png") == 2 and size < LARGEST_BYTES


@pytest.mark.parametrize("width", [1280, 600, 360])
def test_the_letter_is_read_at_every_width(browser: Browser, shown: tuple[str, int], width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 800}, java_script_enabled=True)
    page.set_content(shown[0])
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("[...document.images].every(one => one.complete && one.naturalWidth > 400 && one.alt.length > 40)")
    found = Axe().run(page, options={"rules": {"region": {"enabled": False}, "landmark-one-main": {"enabled": False}}})
    assert [one["id"] for one in found.response["violations"]] == []
    page.close()


def test_a_look_at_the_link_changes_nothing_and_its_button_ends_the_letter(asker: Asker) -> None:
    book = Letters(asker.path)
    reader = book.reader("desk", "desk@example.org")
    address = stop_address(book, reader, LetterSettings(address="http://localhost/", folder="x", sender="f@example.org"))
    client = create_app(asker).server.test_client()
    path = address.removeprefix("http://localhost")
    looked = client.get(path)
    known = book.numbered(reader.number)
    assert looked.status_code == 200 and "Send me no more" in looked.text and known is not None and not known.has_stopped
    posted = client.post(path, data={"List-Unsubscribe": "One-Click"})
    known = book.numbered(reader.number)
    assert posted.status_code == 200 and "No more letters come" in posted.text and known is not None and known.has_stopped
    assert "desk@example.org" not in looked.text + posted.text


def test_a_forged_link_ends_nobodys_letter(asker: Asker) -> None:
    book = Letters(asker.path)
    reader = book.reader("owner", "other@example.org")
    address = stop_address(book, reader, LetterSettings(address="http://localhost/", folder="x", sender="f@example.org"))
    token = address.partition("token=")[2]
    client = create_app(asker).server.test_client()
    for forged in ("", "1", token[:-2], re.sub(r"^[^.]+", "OTk", token), f"{token}x"):
        answer = client.post(f"/{PATH}", query_string={"token": forged})
        assert answer.status_code == 404 and "belongs to no letter" in answer.text
    known = book.numbered(reader.number)
    assert known is not None and not known.has_stopped
