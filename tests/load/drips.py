"""Readers while strangers drip: `make drip-test` (DRIPS=500, READERS=20).

Half of the sockets drip the head of a health check, half the body of a question, which is read before anybody is asked who he
is: a byte every few seconds each. A socket that is let go comes back after as long, or at once with --again 0. Prints for the
same clicks of the same readers, quiet and under drips in turn, how long they took and how many health checks were answered.
Judges nothing.
"""

import argparse
import multiprocessing
import selectors
import socket
import sys
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from tests.load.sessions import CALLBACK, HOST, Seen, Session, Site, is_well, learn, memory_mb, percentile, say, serving

PAUSE_SECONDS = 3.0
THINKING_SECONDS = (0.2, 1.0)
PATIENCE_SECONDS = 30.0
HEALTH_PATIENCE_SECONDS = 5.0
HEADS = (
    b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Drip: ",
    f"POST {CALLBACK} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 900000\r\n\r\n".encode(),
)


@dataclass
class Health:
    """Health checks, one a second, each on a connection of its own."""

    seconds: list[float] = field(default_factory=list)
    asked: int = 0

    def check(self, port: int, stop: threading.Event) -> None:
        while not stop.wait(1.0):
            self.asked += 1
            start = time.monotonic()
            if is_well(port, HEALTH_PATIENCE_SECONDS):
                self.seconds.append(time.monotonic() - start)


def drip(port: int, sockets: int, pause: float, again: float, let_go: "multiprocessing.sharedctypes.Synchronized[int]") -> None:
    """Drips until the process is ended; counts the connections that the server ended."""
    waiting = selectors.DefaultSelector()
    due: list[tuple[float, socket.socket | None, int]] = []

    def come(place: int, at: float) -> None:
        client = socket.socket()
        client.settimeout(5)
        try:
            client.connect((HOST, port))
            client.sendall(HEADS[place % 2])
        except OSError:
            client.close()
            due.append((time.monotonic() + pause, None, place))
            return
        client.setblocking(False)
        waiting.register(client, selectors.EVENT_READ, place)
        due.append((at, client, place))

    start = time.monotonic()
    for place in range(sockets):
        come(place, start + pause * (1 + place / sockets))
    while True:
        # Whatever the server says to a dripping socket is its end.
        for key, _ in waiting.select(timeout=0.02):
            waiting.unregister(key.fileobj)
            key.fileobj.close()  # type: ignore[union-attr]
            with let_go.get_lock():
                let_go.value += 1
            due.append((time.monotonic() + again, None, key.data))
        now = time.monotonic()
        ready, due[:] = [one for one in due if one[0] <= now], [one for one in due if one[0] > now]
        for _, client, place in ready:
            if client is None:
                come(place, now + pause)
            elif client.fileno() >= 0:
                try:
                    client.send(b"a")
                    due.append((now + pause, client, place))
                except OSError:
                    pass  # told as the end above


def read(port: int, site: Site, readers: int, seconds: float) -> tuple[Seen, Health]:
    """Lets the same readers click the same way for so long."""
    seen, health, stop = Seen(), Health(), threading.Event()
    ends_at = time.monotonic() + seconds
    sessions = [
        Session(port, number, site, seen, ends_at, thinking=THINKING_SECONDS, patience=PATIENCE_SECONDS)
        for number in range(readers)
    ]
    threads = [threading.Thread(target=session.click, args=(stop,)) for session in sessions]
    checker = threading.Thread(target=health.check, args=(port, stop))
    for thread in (*threads, checker):
        thread.start()
    for thread in threads:
        thread.join()
    stop.set()
    checker.join()
    return seen, health


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sockets", type=int, default=500)
    parser.add_argument("--readers", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=20)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--pause", type=float, default=PAUSE_SECONDS)
    parser.add_argument("--again", type=float, default=PAUSE_SECONDS)
    given = parser.parse_args()
    with TemporaryDirectory() as folder, serving(Path(folder)) as (port, pid):
        site = learn(port)
        read(port, site, given.readers, given.seconds)  # so that both find the same answers remembered
        say(f"{'':<22}{'requests':>9}{'errors':>8}{'median':>9}{'95 %':>9}{'99 %':>9}{'health':>10}{'95 %':>9}   seconds")
        marks: dict[int, list[float]] = {0: [], given.sockets: []}
        for sockets in (0, given.sockets) * given.rounds:
            let_go = multiprocessing.Value("i", 0)
            dripper = multiprocessing.Process(target=drip, args=(port, sockets, given.pause, given.again, let_go), daemon=True)
            if sockets:
                dripper.start()
                time.sleep(2 * given.pause)
            seen, health = read(port, site, given.readers, given.seconds)
            if sockets:
                dripper.kill()
                dripper.join()
            took = sorted(second for _, second in seen.seconds)
            checks = sorted(health.seconds) or [float("nan")]
            marks[sockets].append(percentile(took, 0.95))
            say(
                f"{f'{sockets} dripping' if sockets else 'quiet':<22}{len(took):>9}{len(seen.errors):>8}"
                + "".join(f"{percentile(took, share):>9.3f}" for share in (0.5, 0.95, 0.99))
                + f"{f'{len(health.seconds)}/{health.asked}':>10}{percentile(checks, 0.95):>9.3f}"
                + (f"   {let_go.value} sockets let go" if sockets else "")
            )
            for error, n in Counter(seen.errors).most_common(3):
                say(f"  {n} times: {error}")
        ratio = median(marks[given.sockets]) / median(marks[0])
        say(f"95 % under drips / quiet, of the medians: {ratio:.2f}; memory {memory_mb(pid):.0f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
