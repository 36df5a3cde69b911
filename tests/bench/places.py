"""Times what a page asks of the server after a change of the filters, place by place: question, statistics, what is shown of
them, and its text. At the demo's size and at a million knee captures, median and 95th percentile of seconds in the server.

`make bench` runs it. One reader, one place after the other, each change once, as `filters.py` lists them; the first answers of
a snapshot are told apart, since a served dashboard has them behind it.
"""

import json
import re
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.pages import PAGES
from dashboard.questions.door.asking import Asker
from dashboard.questions.memory.side_by_side import one_thread_a_product
from dashboard.questions.selection.selection import parse_selection
from dashboard.web.allocation import keep_freed_memory
from shared.settings import Settings
from tests.bench.filters import CHANGES
from tests.bench.questions import DEMO, MILLION, build, scan_of
from tests.bench.told import tell

LIMIT_SECONDS = {DEMO: 0.1, MILLION: 0.3}
# Exact at every size, the models take longer than this for many captures.
LIMIT_SECONDS_OF_SUPPORTS = {DEMO: 0.1, MILLION: 0.8}


def places(client: FlaskClient, path: str) -> list[str]:
    """What the page at a path can ask at once."""
    found = re.search(r'id="first-questions">(.*?)</script>', client.get(f"/{path}").get_data(as_text=True))
    assert found is not None
    return list(json.loads(found[1])["places"])


def seconds(client: FlaskClient, place: str, search: str) -> float:
    """Seconds until the server has told what stands in a place."""
    values = {"view": search, "theme": "light"}
    body = {
        "output": f"{place}.children",
        "outputs": {"id": place, "property": "children"},
        "inputs": [{"id": name, "property": "data", "value": value} for name, value in values.items()],
        "changedPropIds": ["view.data"],
    }
    start = time.perf_counter()
    response = client.post("/_dash-update-component", json=body)
    taken = time.perf_counter() - start
    assert response.status_code == 200, response.get_data(as_text=True)
    return taken


def searches() -> list[str]:
    """The queries of the changes, as addresses hold them."""
    return [f"?{query}" if (query := parse_selection(words).query()) else "" for words in CHANGES]


def main() -> None:
    """Tells one line a place and size."""
    keep_freed_memory()  # as a served dashboard does
    one_thread_a_product()
    with TemporaryDirectory() as folder:
        small, large = build(Path(folder))
        for name, warehouse in ((DEMO, small), (MILLION, large)):
            scan = scan_of(warehouse)
            client = create_app(Asker(warehouse, Settings())).server.test_client()
            for page in PAGES:
                limit = (LIMIT_SECONDS_OF_SUPPORTS if page.path == "supports" else LIMIT_SECONDS)[name]
                of_page = places(client, page.path)
                first = {place: seconds(client, place, "") for place in of_page}
                taken: dict[str, list[float]] = {place: [] for place in of_page}
                for search in searches()[1:]:
                    for place in of_page:
                        taken[place].append(seconds(client, place, search))
                for place in of_page:
                    missed = "" if np.quantile(taken[place], 0.95) <= limit else ", not reached"
                    more = f"95 % within {limit} s{missed}; the first answer of a snapshot {first[place]:.2f} s"
                    tell(f"`{place}`", name, taken[place], scan, more)


if __name__ == "__main__":
    main()
