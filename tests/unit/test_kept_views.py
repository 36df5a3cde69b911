"""Named views: kept for an account beside the accounts, without a rider, and gone with the account or a forgotten rider."""

import json
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.components.address import Addresses
from dashboard.web.kept_views import kept_address
from etl.keeping.beside import CLEANERS
from etl.keeping.kept_views import MOST_VIEWS, KeptView, KeptViews, forget_in_views
from etl.keeping.spelling import Speller
from shared.errors import AccountError, UsageError
from tests.attack.house import ASIDE, House, open_house

HEADERS = {**ASIDE, "X-Fitledger": "views"}


@pytest.fixture(scope="module")
def house(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with open_house(demo_warehouse, tmp_path_factory.mktemp("house")) as house:
        yield house


def test_each_account_keeps_its_own_views_and_removes_them(house: House) -> None:
    olga, hanna = house.client("olga"), house.client("hanna")
    kept = {"name": "  Low   arches ", "address": "/supports?from=2026-01-01&arch_height=low"}
    told = olga.post("/views", json=kept, headers=HEADERS)
    assert told.get_json() == {"views": [{"name": "Low arches", "address": "/supports?from=2026-01-01&arch_height=low"}]}
    assert olga.get("/views", headers=ASIDE).get_json() == told.get_json()
    assert hanna.get("/views", headers=ASIDE).get_json() == {"views": []}
    assert hanna.post("/views", json={"name": "Low arches", "remove": True}, headers=HEADERS).get_json() == {"views": []}
    assert len(olga.get("/views", headers=ASIDE).get_json()["views"]) == 1
    assert olga.post("/views", json={"name": "Low arches", "remove": True}, headers=HEADERS).get_json() == {"views": []}


def test_another_view_of_the_same_name_gives_way(house: House) -> None:
    client = house.client("olga")
    for address in ("/returns", "/symmetry?side=left"):
        told = client.post("/views", json={"name": "Mondays", "address": address}, headers=HEADERS).get_json()
    assert told == {"views": [{"name": "Mondays", "address": "/symmetry?side=left"}]}


def test_what_is_no_view_is_refused_and_nothing_is_kept(house: House) -> None:
    client = house.client("finn")
    page = {"name": "x", "address": "/returns"}
    assert client.post("/views", json=page, headers=ASIDE).status_code == 400  # a form of a page elsewhere has no such header
    for wrong in (
        {**page, "name": " "},
        {**page, "name": "x" * 81},
        {**page, "address": "https://elsewhere.example/returns"},
        {**page, "address": "//elsewhere.example/returns"},
        {**page, "address": "/returns?weather=fine"},
        [],
    ):
        assert client.post("/views", json=wrong, headers=HEADERS).status_code == 400, wrong
    assert client.get("/views", headers=ASIDE).get_json() == {"views": []}
    assert house.client().get("/views", headers=ASIDE).status_code == 401


def test_a_rider_or_a_fit_is_never_kept() -> None:
    addresses = Addresses("/studio/")
    assert kept_address(addresses, "/studio/riders?rider=R0655&from=2026-01-01&fit=S1") == "riders?from=2026-01-01"
    with pytest.raises(UsageError, match="of this dashboard"):
        kept_address(addresses, "/riders")


def test_the_file_is_its_owner_s_alone_and_bounded(tmp_path: Path) -> None:
    views = KeptViews(tmp_path / "w.duckdb")
    for number in range(MOST_VIEWS):
        views.keep("olga", f"View {number}", "returns")
    assert stat.S_IMODE(views.file.stat().st_mode) == 0o600
    with pytest.raises(UsageError, match=f"keep {MOST_VIEWS} views already"):
        views.keep("olga", "One more", "returns")
    views.keep("olga", "View 0", "symmetry")
    views.keep("hanna", "One more", "returns")
    views.remove_all("olga")
    assert views.of("olga") == []
    assert views.of("hanna") == [KeptView("hanna", "One more", "returns")]


def test_a_forgotten_rider_goes_from_names_and_addresses(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    views = KeptViews(path)
    views.keep("olga", "Call r0655 on Monday", "riders")
    views.keep("olga", "By hand", "riders?rider=R0655")
    views.keep("olga", "R06551 is another", "returns")
    assert forget_in_views in CLEANERS
    forget_in_views(path, Speller(["R0655"], ["R06551"]))
    assert {(view.name, view.address) for view in views.of("olga")} == {
        ("Call [forgotten] on Monday", "riders"),
        ("R06551 is another", "returns"),
    }
    forget_in_views(tmp_path / "other.duckdb", Speller(["R0655"]))
    assert not (tmp_path / "other.duckdb.views.json").exists()


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    views = KeptViews(tmp_path / "w.duckdb")
    for content in ("{", json.dumps({"version": 2, "views": []}), json.dumps({"version": 1, "views": [{}]})):
        views.file.write_text(content, encoding="utf-8")
        with pytest.raises(AccountError, match="file of kept views cannot be read"):
            views.of("olga")
