"""An upload served with accounts: who may read what was found in it."""

import io
import re
from collections.abc import Iterator

import pytest
from flask.testing import FlaskClient

from dashboard.accounts.store import Accounts
from dashboard.app import create_app
from dashboard.questions.door.asking import Asker
from etl.load import load
from shared.settings import Settings

PASSWORD = "four small words here"
RIDERS = "rider_id,birth_year,sex,riding\nR1,1980,female,road\n"
ROLES = {"olga": ("owner", None), "hanna": ("head_fitter", None), "finn": ("fitter", "F1")}


@pytest.fixture(scope="module")
def clients(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, FlaskClient]]:
    """Everyone signed in at one small dashboard that takes uploads."""
    folder = tmp_path_factory.mktemp("served")
    (folder / "riders.csv").write_text(RIDERS, encoding="utf-8")
    path = folder / "studio.duckdb"
    load([folder / "riders.csv"], path)
    accounts = Accounts(path)
    for name, (role, fitter) in ROLES.items():
        accounts.add(name, role, PASSWORD, fitter)
    app = create_app(Asker(path, Settings.model_validate({"upload": {"from_elsewhere": True}})), accounts=accounts)
    signed_in = {}
    for name in ROLES:
        client = app.server.test_client()
        token = re.search(r'name="token" value="([^"]+)"', client.get("/login").get_data(as_text=True))
        assert token
        client.post("/login", data={"name": name, "password": PASSWORD, "token": token[1], "next": ""})
        signed_in[name] = client
    yield signed_in


def sent(client: FlaskClient) -> str:
    """The token of an upload."""
    data = {"files": (io.BytesIO(RIDERS.encode()), "riders.csv")}
    response = client.post("/upload", data=data, headers={"X-Fitledger": "upload"})
    assert response.status_code == 200, response.get_data(as_text=True)
    assert response.json is not None
    return str(response.json["token"])


@pytest.mark.parametrize("address", ["findings.csv", "step"])
def test_findings_and_steps_are_for_those_who_load(clients: dict[str, FlaskClient], address: str) -> None:
    token = sent(clients["olga"])
    assert clients["olga"].get(f"/upload/{token}/{address}").status_code == 200
    for known in (token, "guessed"):
        refused = clients["finn"].get(f"/upload/{known}/{address}")
        assert refused.status_code == 403
        assert "for the owner and the head fitter" in refused.get_data(as_text=True)


def test_an_upload_is_told_to_the_one_who_sent_it(clients: dict[str, FlaskClient]) -> None:
    token = sent(clients["olga"])
    others = clients["hanna"].get(f"/upload/{token}/findings.csv")
    unknown = clients["hanna"].get("/upload/guessed/findings.csv")
    assert others.status_code == unknown.status_code == 400
    assert others.get_data() == unknown.get_data()
    assert clients["olga"].get(f"/upload/{token}/findings.csv").status_code == 200
