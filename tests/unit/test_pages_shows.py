"""What a page shows is a plain function for each of its places, which the served page and the report both ask."""

import json
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.components import ids
from dashboard.components.address import Addresses
from dashboard.components.page import Desk, Page
from dashboard.components.places import filled
from dashboard.pages import PAGES
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL
from dashboard.web.lean import LeanDash
from shared.settings import Settings
from tests.unit.page_places import CALLBACK, unfolded


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.fixture(scope="module")
def app(asker: Asker) -> Any:
    return create_app(asker)


def desk_of(asker: Asker) -> Desk:
    return Desk(AskedBy(asker, lambda: LOCAL), Addresses("/"))


def test_every_place_that_follows_the_view_is_one_that_a_page_shows(app: Any, asker: Asker) -> None:
    both = [{"id": ids.VIEW, "property": "data"}, {"id": ids.THEME, "property": "data"}]
    served = {output.removesuffix(".children") for output, known in app.callback_map.items() if known["inputs"] == both}
    assert served == {place for page in PAGES for place in page.shows(desk_of(asker))}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_place_asked_by_itself_tells_what_the_served_page_tells(app: Any, asker: Asker, page: Page) -> None:
    place, *_ = page.shows(desk_of(asker))
    view, theme = "?from=2026-01-01", "light"
    by_itself = filled(page, desk_of(asker))[place](view, theme)
    given = ((ids.VIEW, view), (ids.THEME, theme))
    inputs = [{"id": name, "property": "data", "value": value} for name, value in given]
    body = {"output": f"{place}.children", "outputs": {"id": place, "property": "children"}, "inputs": inputs, "state": []}
    answer = app.server.test_client().post(CALLBACK, json=body | {"changedPropIds": []}).get_json()
    still = LeanDash.still(app, by_itself)
    assert unfolded(answer["response"][place]["children"]) == unfolded(json.loads(json.dumps(still, cls=_Plotly)))


class _Plotly(json.JSONEncoder):
    def default(self, o: Any) -> Any:
        return o.to_plotly_json() if hasattr(o, "to_plotly_json") else list(o)
