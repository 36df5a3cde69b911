"""The server as it is run: a process of its own that listens, answers from several threads and ends when told to."""

import signal
import subprocess
import sys
import urllib.request
from concurrent.futures import ThreadPoolExecutor

from dashboard.serving import THREADS, free_port

SERVE = """
import sys
from dashboard.app import create_app
from dashboard.serving import serve_forever
from tests.unit.made_answers import MadeAsker
serve_forever(create_app(MadeAsker()), "127.0.0.1", int(sys.argv[1]))
"""


def test_gunicorn_serves_from_threads_and_ends_gracefully() -> None:
    port = free_port("127.0.0.1")
    with subprocess.Popen(
        [sys.executable, "-c", SERVE, str(port)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stderr is not None
            log = []
            for line in process.stderr:
                log.append(line)
                if "Listening at" in line:
                    break
            assert log[-1].rstrip().endswith(f"Listening at: http://127.0.0.1:{port} ({process.pid})"), log
            with ThreadPoolExecutor(2 * THREADS) as readers:
                statuses = list(readers.map(lambda _: _status(f"http://127.0.0.1:{port}/health"), range(2 * THREADS)))
            assert statuses == [200] * (2 * THREADS)
            process.send_signal(signal.SIGTERM)
            said, _ = process.communicate(timeout=60)
        finally:
            process.kill()
    assert process.returncode == 0
    assert said == ""


def _status(address: str) -> int:
    with urllib.request.urlopen(address, timeout=60) as response:
        return int(response.status)
