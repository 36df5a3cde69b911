"""Times what a page asks of the server after a change of the filters, place by place: question, statistics, what is shown of
them, and its text. At the demo's size and at a million knee captures, each view of each page: median and 95th percentile of
seconds in the server and of its processor time.

`make bench` runs it. One reader, one place after the other, as `filters.py` lists the changes. Each view is asked for dates of
its own, so that nothing of the same selection is remembered from another one; the first answers of a snapshot are told apart,
since a served dashboard has them behind it. Processor time counts all processors: other work does not move it.
"""

import json
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.components.address import OF_A_RIDER
from dashboard.components.page import Page, PageView
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
_SPLITS = ("foot_type", "arch_height", "visit_kind")
# Before the first fit: a selection of all fits under another name.
_BEFORE_ALL = date(2019, 1, 1)
# Riders in no order that the warehouse has, as many as are asked for.
_RIDERS = "SELECT rider_id FROM core.riders ORDER BY hash(rider_id) LIMIT $n"
_N_RIDERS = 10 * len(CHANGES)


def places(client: FlaskClient, path: str) -> list[str]:
    """What the view at a path can ask at once."""
    found = re.search(r'id="first-questions">(.*?)</script>', client.get(f"/{path}").get_data(as_text=True))
    assert found is not None
    return list(json.loads(found[1])["places"])


def seconds(client: FlaskClient, place: str, search: str) -> tuple[float, float]:
    """Seconds on the clock and of the processors until the server has told what stands in a place."""
    values = {"view": search, "theme": "light"}
    body = {
        "output": f"{place}.children",
        "outputs": {"id": place, "property": "children"},
        "inputs": [{"id": name, "property": "data", "value": value} for name, value in values.items()],
        "changedPropIds": ["view.data"],
    }
    start, used = time.perf_counter(), time.process_time()
    response = client.post("/_dash-update-component", json=body)
    taken = time.perf_counter() - start, time.process_time() - used
    assert response.status_code == 200, response.get_data(as_text=True)
    return taken


def searches(view: PageView, days: int) -> Iterator[str]:
    """The queries of the changes, as the addresses of a view hold them, with dates moved by so many days."""
    for place, words in enumerate(CHANGES):
        selection = parse_selection(words)
        if view.splits and not selection.split:
            selection = replace(selection, split=_SPLITS[place % len(_SPLITS)])
        moved = replace(selection, date_from=(selection.date_from or _BEFORE_ALL) + timedelta(days))
        yield f"?{moved.query()}"


def _views(riders: list[str]) -> Iterator[tuple[Page, PageView, str, list[str]]]:
    """Each view, what it is about, and its queries; of a page about one rider, those of riders too."""
    number = 0
    for page in PAGES:
        for view in page.views:
            if page.path not in OF_A_RIDER or view.path in ("", "all", "how-well-foreseen"):
                yield page, view, "", list(searches(view, number := number + 1))
            if page.path in OF_A_RIDER and view.path not in ("all", "how-well-foreseen"):
                yield page, view, ", of a rider", [f"?rider={riders.pop()}" for _ in CHANGES]


def main() -> None:
    """Tells one line a place and size."""
    keep_freed_memory()  # as a served dashboard does
    one_thread_a_product()
    with TemporaryDirectory() as folder:
        small, large = build(Path(folder))
        for name, warehouse in ((DEMO, small), (MILLION, large)):
            tell_of(name, warehouse)


def tell_of(name: str, warehouse: Path) -> None:
    """Tells one line a place of each view."""
    scan, asker = scan_of(warehouse), Asker(warehouse, Settings())
    client = create_app(asker).server.test_client()
    riders = asker.look_up(lambda cursor: [str(row["rider_id"]) for row in cursor.rows(_RIDERS, {"n": _N_RIDERS})])
    for page, view, about, queries in _views(riders):
        limit = (LIMIT_SECONDS_OF_SUPPORTS if page.path == "supports" else LIMIT_SECONDS)[name]
        of_view = places(client, page.path_of(view))
        first = {place: seconds(client, place, queries[0] if about else "")[0] for place in of_view}
        taken: dict[str, list[tuple[float, float]]] = {place: [] for place in of_view}
        for search in queries[1:]:
            for place in of_view:
                taken[place].append(seconds(client, place, search))
        for place in of_view:
            clock, processors = np.array(taken[place]).T
            missed = "" if np.quantile(clock, 0.95) <= limit else ", not reached"
            used = f"processors {np.median(processors):.3f} s, 95 % {np.quantile(processors, 0.95):.3f} s"
            more = f"{used}; 95 % within {limit} s{missed}; the first answer of a snapshot {first[place]:.2f} s"
            tell(f"`{place}` of /{page.path_of(view)}{about}", name, clock.tolist(), scan, more)


if __name__ == "__main__":
    main()
