"""Installs the wheel as people do (`uv tool install`, into an empty place, without the lock) and starts it: `make installed`.

Builds the wheel, installs it with the newest libraries that it allows, lets `start` serve a small folder and `demo` the demo,
and asks both for /health.
"""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[2]
HERE: Final = ROOT / "build" / "installed"
UV: Final = ROOT / ".venv" / "bin" / "uv"
_PATIENCE_SECONDS: Final = 300
SMALL: Final = {
    "riders": "rider_id\nR1\n",
    "fitters": "fitter_id,fitter_name\nF1,Alder\n",
    "fit_sessions": "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind\nS1,R1,F1,quayside,2026-03-02,first\n",
    "knee_captures": "session_id,capture_no,side,knee_tilt_deg\nS1,1,left,-2.5\nS1,1,right,-1.5\nS1,2,left,-1\n",
}


def main() -> None:
    """Builds, installs and starts. Raises where one of it fails."""
    shutil.rmtree(HERE, ignore_errors=True)
    HERE.mkdir(parents=True)
    python = ["--python", sys.executable]
    _run(UV, "build", "-q", "--no-config", "--wheel", "--no-build-isolation", *python, "--out-dir", HERE, ROOT)
    (wheel,) = HERE.glob("*.whl")
    places = {"UV_TOOL_DIR": str(HERE / "tools"), "UV_TOOL_BIN_DIR": str(HERE / "bin")}
    _run(UV, "tool", "install", "-q", "--no-config", *python, wheel, environment=places)
    studio = HERE / "studio"
    studio.mkdir()
    for name, text in SMALL.items():
        (studio / f"{name}.csv").write_text(text, encoding="utf-8")
    command = HERE / "bin" / "fitledger"
    _serves([command, "start", studio, "--warehouse", HERE / "studio.duckdb"])
    _serves([command, "demo"])
    print("The installed wheel starts on a small folder and on the demo, and answers /health.")  # noqa: T201 (what it is run for)


def _run(*words: object, environment: dict[str, str] | None = None) -> None:
    subprocess.run([str(word) for word in words], check=True, env={**os.environ, **(environment or {})})


def _serves(words: list[object]) -> None:
    """Starts a command that serves, in an empty folder, and asks it for its health until it answers."""
    port, place = _free_port(), HERE / f"at-{words[1]}"
    place.mkdir()
    with (place / "printed.txt").open("w") as printed:
        started = subprocess.Popen(
            [*(str(word) for word in words), "--port", str(port)], cwd=place, stdout=printed, stderr=subprocess.STDOUT
        )
        try:
            _wait_for(f"http://127.0.0.1:{port}/health", started, place / "printed.txt")
        finally:
            started.terminate()
            started.wait(30)


def _wait_for(address: str, started: subprocess.Popen[bytes], printed: Path) -> None:
    last = time.monotonic() + _PATIENCE_SECONDS
    while time.monotonic() < last and started.poll() is None:
        try:
            with urllib.request.urlopen(address, timeout=5) as answer:
                if answer.status == 200:
                    return
        except OSError:
            time.sleep(0.5)
    raise SystemExit(f"{address} was not answered. It printed:\n{printed.read_text('utf-8')[-3000:]}")


def _free_port() -> int:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return int(held.getsockname()[1])


if __name__ == "__main__":
    main()
