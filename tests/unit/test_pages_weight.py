"""How much script the first view takes on the wire: bytes are no seconds, and may be held."""

import gzip

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from tests.bench.first_view import LIMIT_MB, script_weights
from tests.unit.made_answers import MadeAsker

PACKED = {"Accept-Encoding": "gzip, deflate, br"}


@pytest.fixture
def client() -> FlaskClient:
    return create_app(MadeAsker()).server.test_client()  # type: ignore[arg-type]


def test_scripts_keep_to_their_weight_and_the_large_ones_are_absent() -> None:
    weights = script_weights()
    assert sum(weights.values()) < LIMIT_MB * 1e6
    names = " ".join(weights)
    assert "plotly-basic" in names
    assert "plotly.min" not in names and "ag_grid" not in names and "aggrid" not in names


@pytest.mark.parametrize("path", ["/assets/style.css", "/assets/plotly-basic.min.js"])
def test_a_file_is_sent_packed_to_those_who_take_it_so(client: FlaskClient, path: str) -> None:
    with client.get(path) as response:
        plain = response.get_data()
        assert "Content-Encoding" not in response.headers
        assert response.headers["Vary"] == "Accept-Encoding"
    for _ in range(2):
        with client.get(path, headers=PACKED) as response:
            assert response.headers["Content-Encoding"] == "gzip"
            assert int(response.headers["Content-Length"]) == len(response.get_data()) < len(plain) / 2
            assert gzip.decompress(response.get_data()) == plain
            assert response.headers["Content-Security-Policy"]
            known = {**PACKED, "If-None-Match": response.headers["ETag"]}
        with client.get(path, headers=known) as again:
            assert again.status_code == 304


def test_a_long_answer_is_sent_packed_to_those_who_take_it_so(client: FlaskClient) -> None:
    plain = client.get("/_dash-dependencies")
    assert len(plain.get_data()) > 10_000
    assert "Content-Encoding" not in plain.headers
    packed = client.get("/_dash-dependencies", headers=PACKED)
    assert packed.headers["Content-Encoding"] == "gzip" and packed.headers["Vary"] == "Accept-Encoding"
    assert int(packed.headers["Content-Length"]) == len(packed.get_data()) < len(plain.get_data()) / 2
    assert gzip.decompress(packed.get_data()) == plain.get_data()


def test_short_answers_and_refusals_are_sent_as_they_are(client: FlaskClient) -> None:
    for path in ("/health", "/download/effects.csv", "/assets/nowhere.js"):
        assert "Content-Encoding" not in client.get(path, headers=PACKED).headers
