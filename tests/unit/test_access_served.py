"""The log of access behind a served dashboard: what of which rider was opened, downloaded, loaded and taken back, by whom."""

import io
import re
from pathlib import Path
from typing import Any

import pytest
from werkzeug.test import TestResponse

from dashboard.accounts.store import Accounts
from dashboard.app import create_app
from dashboard.questions.door.asking import Asker
from etl.keeping.access_log import AccessLog
from etl.load import load
from shared.errors import AccessLogError
from shared.settings import Settings
from tests.attack.house import PASSWORD, House, body, downloads, sign_in, walk, words_of
from tests.spec.tables import write_csv
from tests.spec.test_load import FIRST, TODAY
from tests.unit import test_accounts_served
from tests.unit.door import QUICK

house = test_accounts_served.house
OWN = "SELECT min(rider_id) FROM mart.fits WHERE fitter_id = 'F2'"


def noted(house: House, name: str) -> list[tuple[str, str, tuple[str, ...]]]:
    """What the log says of a reader since it was emptied last."""
    log = AccessLog(house.asker.path)
    found = [(entry.did, entry.what, entry.riders) for entry in log.entries() if entry.who == name]
    log.file.unlink()
    return found


def test_who_opened_and_downloaded_what_of_which_rider_is_noted(house: House) -> None:
    stranger = min(one for one in house.foreign if one.startswith("R"))
    own = house.asker.look_up(lambda warehouse: warehouse.value(OWN))
    client = house.client("finn")
    noted(house, "finn")
    for search in (f"?rider={own}", f"?rider={stranger}"):
        for _, answer in walk(house, client, search, "/riders"):
            assert answer.status_code in (200, 204)
        client.get(f"/download/riders.csv{search}&rows=fits")
    found = noted(house, "finn")
    assert ("opened", "riders", (own,)) in found
    assert ("downloaded", "download/riders.csv fits", (own,)) in found
    assert [riders for _, _, riders in found if stranger in riders] == []  # nothing was given
    assert len(found) == len(set(found))
    # What nobody has as an id was typed by somebody, and stays out.
    client.get(f"/download/riders.csv?rider={own},my-password-by-mistake")
    assert noted(house, "finn") == [("downloaded", "download/riders.csv", (own,))]


def test_every_download_is_noted(house: House) -> None:
    client = house.client("olga")
    addresses = [*downloads(house), "/mend/riders.csv"]
    noted(house, "olga")
    assert [client.get(address).status_code for address in addresses] == [200] * len(addresses)
    files = [what for did, what, _ in noted(house, "olga") if did == "downloaded"]
    assert files == [address.removeprefix("/").replace("?rows=", " ") for address in addresses]


def test_a_file_is_kept_back_where_no_note_can_be_taken(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    client = house.client("olga")

    def full(*_: Any, **__: Any) -> None:
        raise AccessLogError("the log of access cannot be written (No space left on device).")

    monkeypatch.setattr(AccessLog, "add", full)
    response = client.get("/download/riders.csv")
    assert response.status_code == 503
    assert not words_of(response) & house.foreign
    assert "Content-Security-Policy" in response.headers
    shown = [answer for output, answer in walk(house, client, "", "/riders") if output == "riders-head.children"]
    assert not words_of(shown[0]) & house.foreign
    assert "only with a note of who opened them" in shown[0].get_data(as_text=True)


def test_files_that_are_loaded_and_taken_back_on_the_page_are_noted(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "exports", **FIRST)], path, today=TODAY)
    accounts = Accounts(path, QUICK)
    accounts.add("hanna", "head_fitter", PASSWORD)
    app = create_app(Asker(path, Settings.model_validate({"upload": {"from_elsewhere": True}})), accounts=accounts)
    client = app.server.test_client()
    sign_in(client, "hanna", PASSWORD)

    def step(output: str, clicked: str, **given: Any) -> TestResponse:
        known = app.callback_map[output]
        return client.post("/_dash-update-component", json=body(output, known, {clicked: 1, "view.data": "", **given}))

    def of(part: str) -> str:
        return next(name for name, known in app.callback_map.items() if any(one["id"] == part for one in known["inputs"]))

    sent = {"files": (io.BytesIO(b"rider_id,birth_year\nR9999,1985\n"), "riders-R9999.csv")}
    token = client.post("/upload", data=sent, headers={"X-Fitledger": "upload"}).get_json()["token"]
    step(of("data-received"), "", **{"data-received.data": {"token": token}})
    assert client.get(f"/upload/{token}/findings.csv").status_code == 200
    done = step(of("data-load"), "data-load.n_clicks", **{"data-received.data": {"token": token}}).get_data(as_text=True)
    load_id = int(re.findall(r"Load (\d+) is in", done)[0])
    step(of("data-sure"), "data-sure.n_clicks", **{"data-asked.data": {"load": load_id}})
    assert [(entry.did, entry.what, entry.riders) for entry in AccessLog(path).entries()] == [
        ("signed in", "", ()),
        ("downloaded", "upload/…/findings.csv", ()),
        ("loaded", f"load {load_id}", ()),
        ("took back", f"load {load_id}", ()),
    ]
