"""A fault of the program in any place of any page, or in any download: a sentence with a number, and the page stays."""

import json
import logging
import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.questions.door.registry import QUESTIONS
from tests.every_view import EVERY_VIEW
from tests.unit.made_answers import MadeAsker
from tests.unit.page_places import parts, places


class Failing(MadeAsker):
    """Every question fails as a fault of the program would."""

    def ask(self, question: str, *_: Any, **__: Any) -> Any:
        raise ZeroDivisionError(question)

    def look_up(self, *_: Any) -> Any:
        raise ZeroDivisionError

    def ran(self) -> Any:
        raise ZeroDivisionError


@pytest.fixture
def client() -> FlaskClient:
    return create_app(Failing()).server.test_client()  # type: ignore[arg-type]


@pytest.mark.parametrize("page", EVERY_VIEW, ids=lambda page: page.name)
def test_every_place_tells_its_fault_and_the_page_stays(
    client: FlaskClient, page: Any, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR, logger="fitledger.dashboard"):
        layout, *told = places(client, page.path, "?rider=R0077")
    assert page.question in json.dumps(layout)
    assert told
    references: list[str] = []
    for place in told:
        text = json.dumps(place)
        references += re.findall(r"in the log under (\w+)\.", text)
        assert "ZeroDivisionError" not in text and "Traceback" not in text
        assert not any(part["type"] == "Graph" for part in parts(place))
    assert references
    assert [reference for reference in references if reference not in caplog.text] == []
    assert "R0077" not in caplog.text


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_download_tells_its_fault(client: FlaskClient, question: str, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.ERROR, logger="fitledger.dashboard"):
        response = client.get(f"/download/{question}.csv?rider=R0077")
    assert response.status_code == 500
    (reference,) = re.findall(r"in the log under (\w+)\.", response.get_data(as_text=True))
    assert reference in caplog.text and "R0077" not in caplog.text
