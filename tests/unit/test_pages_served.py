"""The served dashboard without a browser: headers, downloads, answers and faults of the pages."""

import csv
import io
import json
import logging
import re
import socket
from typing import Any

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app, find_page
from dashboard.components.address import Addresses
from dashboard.components.notes import CAUTION
from dashboard.components.page import frame
from dashboard.pages import PAGES
from dashboard.questions.models.answers_models import EffectRow
from dashboard.web.serving import listening
from shared.errors import UsageError
from tests.every_view import EVERY_VIEW
from tests.unit.made_answers import MadeAsker, made_effects
from tests.unit.page_places import unfolded


@pytest.fixture
def client() -> FlaskClient:
    return create_app(MadeAsker()).server.test_client()  # type: ignore[arg-type]


def answered(client: FlaskClient, place: str, search: str) -> str:
    """The JSON of what a page puts in one of its places."""
    inputs = [
        {"id": "view", "property": "data", "value": search},
        {"id": "theme", "property": "data", "value": "light"},
    ]
    body = {
        "output": f"{place}.children",
        "outputs": {"id": place, "property": "children"},
        "inputs": inputs,
        "changedPropIds": ["view.data"],
    }
    response = client.post("/_dash-update-component", json=body)
    assert response.status_code == 200
    return json.dumps(unfolded(response.get_json()["response"][place]["children"]), ensure_ascii=False)


def test_health_is_told(client: FlaskClient) -> None:
    assert (client.get("/health").status_code, client.get("/health").get_data()) == (200, b"OK")
    assert client.post("/health").status_code == 405


@pytest.mark.parametrize("path", ["/", "/data", "/_dash-layout", "/download/effects.csv", "/nowhere.csv"])
def test_every_response_carries_the_headers(client: FlaskClient, path: str) -> None:
    headers = client.get(path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-eval" not in policy
    assert "'unsafe-inline'" not in policy.split("script-src")[1].split(";")[0]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"


def test_the_page_loads_nothing_from_elsewhere(client: FlaskClient) -> None:
    page = client.get("/").get_data(as_text=True)
    assert "plotly-basic.min.js" in page
    assert not re.findall(r"(?:src|href)=[\"'](?:https?:)?//", page)


def test_the_server_tells_no_layout_to_other_programs(client: FlaskClient) -> None:
    assert client.post("/_mcp", json={}).status_code in (404, 405)


def test_csv_is_the_answer_of_the_same_selection(client: FlaskClient) -> None:
    response = client.get("/download/effects.csv?side=left")
    assert response.mimetype == "text/csv"
    assert "effects.csv" in response.headers["Content-Disposition"]
    assert response.get_data(as_text=True) == made_effects().to_csv()
    rows = list(csv.DictReader(io.StringIO(response.get_data(as_text=True))))
    assert list(rows[0]) == list(EffectRow.__dataclass_fields__)
    assert response.headers["Cache-Control"] == "no-store"


def test_csv_of_another_list(client: FlaskClient) -> None:
    text = client.get("/download/data.csv?rows=quality").get_data(as_text=True)
    assert text.startswith("check,n,total,share")


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/download/effects.csv?sid=left", "'sid' is no word of a selection"),
        ("/download/data.csv?rows=everything", "expected one of tables, loads, reasons, rejects, quality"),
        ("/download/data.csv?rows=method", "rows: found 'method'"),
        ("/download/studio.csv?riding=triathlon", "No fit matches"),
    ],
)
def test_a_download_that_cannot_be_is_told(client: FlaskClient, path: str, words: str) -> None:
    response = client.get(path)
    assert response.status_code == 400
    assert words in response.get_data(as_text=True)


@pytest.mark.parametrize("place", ["studio-head", "supports-head", "data-head"])
def test_every_page_says_its_answer_first(client: FlaskClient, place: str) -> None:
    question = {"studio-head": "periods", "supports-head": "effects", "data-head": "data"}[place]
    answer: Any = MadeAsker().ask(question, read())
    # What may not be parted at the end of a line is held together by blanks of another kind.
    further = {"effects": "supports-nearer", "periods": "studio-picture", "data": "data-came-in"}[question]
    shown = answered(client, place, "") + answered(client, further, "")
    told = shown.replace("\N{NO-BREAK SPACE}", " ").replace("\\u00a0", " ")
    first = answer.headline.replace("\N{NO-BREAK SPACE}", " ").partition("; ")[0]
    assert told.index(answer.selection_words) < told.index(first) < told.index("Graph")


def read() -> Any:
    from dashboard.questions.selection.selection import Selection

    return Selection()


def test_cells_carry_the_unrounded_numbers(client: FlaskClient) -> None:
    told = answered(client, "supports-tilt", "")
    for row in made_effects().effects:
        if row.outcome == "tilt":
            assert f'"data-told-low": "{"null" if row.told_low is None else row.told_low}' in told


def test_an_unknown_outcome_is_told(client: FlaskClient) -> None:
    assert "outcome: found 'pain', expected one of tilt" in answered(client, "supports-head", "?outcome=pain")


def test_the_grid_has_counts_where_there_is_not_enough(client: FlaskClient) -> None:
    told = answered(client, "supports-for-whom", "")
    assert "Tilt by foot type: enough changes in 12 of 24 cells" in told
    assert "6 more changes needed, in other riders" in told
    assert "4 changes" in told


def test_another_split_makes_another_grid(client: FlaskClient) -> None:
    assert "Tilt by side" in answered(client, "supports-for-whom", "?split=side")


def test_rejected_rows_are_turned_by_the_address(client: FlaskClient) -> None:
    assert "Rejected rows, 21 to 30 of 47" in answered(client, "data-left-out", "?start=20")
    assert "Rejected rows, 1 to 10 of 16" in answered(client, "data-left-out", "?reason=orphan")
    assert "start: found 'x'" in answered(client, "data-head", "?start=x")


@pytest.mark.parametrize("place", ["studio-head", "supports-head", "data-head"])
def test_an_empty_selection_is_a_sentence_with_a_way_out(client: FlaskClient, place: str) -> None:
    told = answered(client, place, "?riding=triathlon")
    assert "No fit matches this selection" in told
    assert "Show all fits" in told


@pytest.mark.parametrize("place", ["studio-head", "supports-head", "supports-for-whom", "data-head"])
def test_a_fault_of_the_program_is_a_number_on_the_page_and_a_traceback_in_the_log(
    client: FlaskClient, place: str, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR, logger="fitledger.dashboard"):
        told = answered(client, place, "?riding=indoor")
    (reference,) = re.findall(r"in the log under (\w+)\.", told)
    assert reference in caplog.text
    assert "ZeroDivisionError" in caplog.text
    assert "ZeroDivisionError" not in told


def test_a_failed_download_keeps_its_traceback_to_the_log(client: FlaskClient) -> None:
    response = client.get("/download/effects.csv?riding=indoor")
    assert response.status_code == 500
    assert "in the log under" in response.get_data(as_text=True)


def test_the_caution_is_whole_and_on_every_page() -> None:
    said = " ".join(CAUTION)
    for words in ("no medical advice", "no prescription", "licensed clinician", "one support at a time", "foot room",
                  "thread engagement", "recent operation", "health data"):  # fmt: skip
        assert words in said
    for page in PAGES:
        assert CAUTION[1] in json.dumps(
            frame(page, page.views[0], Addresses("/"), "").to_plotly_json(), default=lambda part: part.to_plotly_json()
        )


def test_pages_are_found_by_path() -> None:
    assert [find_page(shown.path) for shown in EVERY_VIEW] == [(shown.page, shown.view) for shown in EVERY_VIEW]
    assert len({shown.path for shown in EVERY_VIEW}) == len(EVERY_VIEW)
    assert find_page("nowhere") is None


def test_two_dashboards_in_one_process_do_not_share_anything() -> None:
    one, other = create_app(MadeAsker()), create_app(MadeAsker(), prefix="/studio/")  # type: ignore[arg-type]
    assert other.server.test_client().get("/studio/health").status_code == 200
    assert one.server.test_client().get("/studio/health").get_data() != b"OK"
    assert set(one.callback_map) == set(other.callback_map)


@pytest.mark.parametrize("prefix", ["studio", "/studio", "studio/"])
def test_a_prefix_without_slashes_is_refused(prefix: str) -> None:
    with pytest.raises(UsageError, match="begins and ends with a slash"):
        create_app(MadeAsker(), prefix=prefix)  # type: ignore[arg-type]


def test_an_address_of_the_newer_kind_is_listened_at() -> None:
    with listening("::1", 0) as listener:
        assert listener.getsockname()[0] == "::1"


def test_a_taken_port_is_told_before_anything_is_served() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(UsageError, match=f"--port {port}: .*another program listens there. Name another port"):
            listening("127.0.0.1", port)
