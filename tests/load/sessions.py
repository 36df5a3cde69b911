"""Many readers at once, for minutes: `make load-test` (SECONDS=300, SESSIONS=200).

Starts the dashboard on the demo warehouse as a process of its own on a loopback address, and lets sessions click through all
pages with varying filters, as a browser would: the same callback requests, with the name of a tab. Prints requests, errors,
percentiles, and the memory of the serving process at the start, in the middle and at the end. Judges nothing but errors.
"""

import argparse
import http.client
import json
import random
import re
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from dashboard.components import ids
from dashboard.components.places import TAB_HEADER
from dashboard.pages import PAGES
from dashboard.web.serving import listening
from etl.load import load
from warehouse_demo import EXPORTS

HOST = "127.0.0.1"
PATIENCE_SECONDS = 180
# A reader looks at a page for some seconds before the next click.
THINKING_SECONDS = (2.0, 8.0)
# So many different selections are asked in turn; some come again and are remembered, some are dropped and made anew.
N_VIEWS = 80
LAYOUT = "/_dash-layout"
CALLBACK = "/_dash-update-component"
SERVE = "import sys; from dashboard.cli import main; sys.argv[0] = 'fitledger'; main()"


@dataclass
class Seen:
    """What all sessions saw together; each appends, which is atomic."""

    seconds: list[tuple[str, float]] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


@dataclass
class Site:
    """What a browser learns of the dashboard when it opens it: which places each page has, and what they ask for."""

    places: dict[str, list[dict[str, Any]]]


def views(seed: int) -> list[str]:
    """Selections as addresses; the first is the whole."""
    draw = random.Random(seed)
    words = {
        "visit_kind": ["first", "follow_up", "refit"],
        "side": ["left", "right"],
        "arch_height": ["low", "medium", "high"],
        "riding": ["road", "gravel", "mountain"],
        "from": [f"2025-{month:02}-01" for month in range(1, 13)],
        "split": ["side", "arch_height", "foot_type"],
    }
    drawn = {""}
    while len(drawn) < N_VIEWS:
        chosen = draw.sample(sorted(words), draw.randint(1, 2))
        drawn.add("?" + "&".join(f"{word}={draw.choice(words[word])}" for word in chosen))
    return ["", *sorted(drawn - {""})]


class Session:
    """One reader with one connection, kept open while a page is filled."""

    def __init__(
        self,
        port: int,
        number: int,
        site: Site,
        seen: Seen,
        ends_at: float,
        *,
        thinking: tuple[float, float] = THINKING_SECONDS,
        patience: float = PATIENCE_SECONDS,
    ) -> None:
        self.draw = random.Random(number)
        self.tab = f"{self.draw.getrandbits(128):032x}"
        self.port, self.site, self.seen, self.ends_at, self.thinking = port, site, seen, ends_at, thinking
        self.asked = 0
        self.connection = http.client.HTTPConnection(HOST, port, timeout=patience)

    def click(self, stop: threading.Event) -> None:
        """Opens pages with filters until the time is up."""
        drawn = views(1)
        stop.wait(self.draw.uniform(0, self.thinking[1]))
        while time.monotonic() < self.ends_at and not stop.is_set():
            page = self.draw.choice(PAGES)
            # Most readers look at the whole or at what others look at too.
            view = drawn[min(int(self.draw.expovariate(1 / 15)), len(drawn) - 1)]
            for body in self.site.places[page.path]:
                self.ask(page.path, with_view(body, view))
            # The server lets a silent connection go; a browser opens another one without a word.
            self.connection.close()
            stop.wait(self.draw.uniform(*self.thinking))

    def ask(self, path: str, body: dict[str, Any]) -> None:
        self.asked += 1
        headers = {
            "Content-Type": "application/json",
            "Sec-Fetch-Site": "same-origin",
            TAB_HEADER: f"{self.tab} {self.asked} /{path}",
        }
        start = time.monotonic()
        try:
            self.connection.request("POST", CALLBACK, json.dumps(body), headers)
            response = self.connection.getresponse()
            text = response.read()
            if response.status not in (200, 204) or b"in the log under" in text:
                self.seen.errors.append(f"{response.status} {body['output'][:40]} {text[:120].decode(errors='replace')}")
        except (OSError, http.client.HTTPException) as fault:
            self.connection.close()
            self.seen.errors.append(f"{type(fault).__name__} {body['output'][:40]}")
        self.seen.seconds.append((path or "first", time.monotonic() - start))


def with_view(body: dict[str, Any], view: str) -> dict[str, Any]:
    inputs = [{**part, "value": view} if part["id"] == ids.VIEW else part for part in body["inputs"]]
    return {**body, "inputs": inputs}


def learn(port: int) -> Site:
    """Opens every page once and finds the places that a view fills."""
    connection = http.client.HTTPConnection(HOST, port, timeout=PATIENCE_SECONDS)

    def read(method: str, path: str, body: Any = None) -> Any:
        headers = {"Content-Type": "application/json"}
        connection.request(method, path, json.dumps(body) if body is not None else None, headers)
        response = connection.getresponse()
        text = response.read()
        assert response.status == 200, (path, response.status, text[:300])
        return json.loads(text)

    read("GET", LAYOUT)
    known = read("GET", "/_dash-dependencies")
    # The callback that puts a page up, and those that fill a place from the view and the theme.
    page_up = next(one for one in known if f"{ids.PAGE}.children" in one["output"] and not one["clientside_function"])
    ours = [one for one in known if not one["state"] and not one["clientside_function"]]
    fills = [one for one in ours if [part["id"] for part in one["inputs"]] == [ids.VIEW, ids.THEME]]
    values = {ids.VIEW: "", ids.THEME: "light"}
    places = {}
    for page in PAGES:
        opening = asked(page_up, {ids.URL: f"/{page.path}"})
        layout = json.dumps(read("POST", CALLBACK, opening))
        mine = [one for one in fills if f'"id": "{one["output"].rsplit(".", 1)[0]}"' in layout]
        assert mine, f"{page.name}: no place is filled from the view"
        places[page.path] = [opening, *(asked(one, values) for one in mine)]
    connection.close()
    return Site(places)


def asked(callback: dict[str, Any], values: dict[str, str]) -> dict[str, Any]:
    """The body of a request as the browser sends it."""
    names = [name.rsplit(".", 1) for name in callback["output"].strip(".").split("...")]
    outputs = [{"id": place, "property": name} for place, name in names]
    return {
        "output": callback["output"],
        "outputs": outputs if callback["output"].startswith("..") else outputs[0],
        "inputs": [{**part, "value": values[part["id"]]} for part in callback["inputs"]],
        "changedPropIds": [f"{callback['inputs'][0]['id']}.{callback['inputs'][0]['property']}"],
    }


@contextmanager
def serving(folder: Path) -> Iterator[tuple[int, int]]:
    """The port of a served demo, and the id of the process that answers."""
    warehouse = folder / "demo.duckdb"
    with listening(HOST, 0) as probe:
        port = int(probe.getsockname()[1])
    load([EXPORTS], warehouse)
    command = [sys.executable, "-c", SERVE, "serve", "--warehouse", str(warehouse), "--port", str(port)]
    with subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL) as process:
        try:
            while not is_well(port, PATIENCE_SECONDS):
                assert process.poll() is None, "The dashboard did not start."
                time.sleep(0.1)
            yield port, process.pid
        finally:
            process.terminate()
            process.wait(60)


def is_well(port: int, patience: float) -> bool:
    """Whether the health check is answered in time, on a connection of its own."""
    connection = http.client.HTTPConnection(HOST, port, timeout=patience)
    try:
        connection.request("GET", "/health")
        return connection.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


def memory_mb(pid: int) -> float:
    """The resident memory of a process; 0 where the system does not tell."""
    status = Path(f"/proc/{pid}/status")
    found = re.search(r"VmRSS:\s+(\d+) kB", status.read_text()) if status.exists() else None
    return int(found[1]) / 1024 if found else 0.0


def say(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


def percentile(sorted_values: list[float], share: float) -> float:
    return sorted_values[min(int(share * len(sorted_values)), len(sorted_values) - 1)]


def tell(seen: Seen, seconds: float) -> None:
    """Prints what was seen, by page and in all."""
    n_requests, n_errors = len(seen.seconds), len(seen.errors)
    say(f"{n_requests} requests in {seconds:.0f} s ({n_requests / seconds:.0f} a second), {n_errors} errors")
    say(f"{'page':<12}{'requests':>9}{'median':>9}{'90 %':>9}{'99 %':>9}{'longest':>9}   seconds")
    for name in [*dict.fromkeys(page for page, _ in seen.seconds), "all"]:
        took = sorted(second for page, second in seen.seconds if name in (page, "all"))
        marks = (percentile(took, 0.5), percentile(took, 0.9), percentile(took, 0.99), took[-1])
        say(f"{name:<12}{len(took):>9}" + "".join(f"{mark:>9.2f}" for mark in marks))
    for words, n in Counter(seen.errors).most_common(5):
        say(f"error, {n} times: {words}")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--sessions", type=int, default=200)
    given = parser.parse_args()
    with TemporaryDirectory() as folder, serving(Path(folder)) as (port, pid):
        site, seen, stop = learn(port), Seen(), threading.Event()
        start = time.monotonic()
        sessions = [Session(port, number, site, seen, start + given.seconds) for number in range(given.sessions)]
        threads = [threading.Thread(target=session.click, args=(stop,)) for session in sessions]
        say(f"{given.sessions} sessions for {given.seconds:.0f} s on {len(PAGES)} pages; at the start {memory_mb(pid):.0f} MB")
        for thread in threads:
            thread.start()
        try:
            for share in (0.25, 0.5, 0.75, 1.0):
                stop.wait(max(0.0, start + share * given.seconds - time.monotonic()))
                say(f"after {time.monotonic() - start:4.0f} s: memory {memory_mb(pid):.0f} MB, {len(seen.seconds)} requests")
        finally:
            stop.set()
        for thread in threads:
            thread.join()
        tell(seen, time.monotonic() - start)
        say(f"memory at the end {memory_mb(pid):.0f} MB")
    return 1 if seen.errors else 0


if __name__ == "__main__":
    sys.exit(main())
