"""Lakes of the tests: a catalogue file, and PostgreSQL on a socket of its own, started as another user than root."""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest


def _program(name: str) -> str:
    """A program of PostgreSQL; without it a test fails, and says what to install."""
    there = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    found = str(there[-1]) if there else shutil.which(name)
    assert found, f"{name} is not here: install PostgreSQL (Debian: apt-get install postgresql), or run sh .ci/postgres"
    return found


class Server:
    """A cluster in a folder of its own, which listens on a socket alone."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.user = "nobody" if os.geteuid() == 0 else pwd.getpwuid(os.geteuid()).pw_name

    def _run(self, *words: str) -> None:
        as_user = {"user": self.user, "group": pwd.getpwnam(self.user).pw_gid, "extra_groups": []} if os.geteuid() == 0 else {}
        done = subprocess.run(words, capture_output=True, text=True, cwd=self.folder, check=False, **as_user)
        assert done.returncode == 0, f"{words}: {done.stdout[-1500:]}{done.stderr[-1500:]}"

    def make(self) -> None:
        self._run(
            _program("initdb"), "-D", f"{self.folder}/data", "-U", "owner", "-A", "trust", "-N", "--locale=C", "-E", "UTF8"
        )

    def start(self) -> None:
        options = f"-k {self.folder} -c listen_addresses= -c fsync=off"
        self._run(_program("pg_ctl"), "-D", f"{self.folder}/data", "-l", f"{self.folder}/log", "-w", "-o", options, "start")

    def stop(self) -> None:
        self._run(_program("pg_ctl"), "-D", f"{self.folder}/data", "-w", "-m", "immediate", "stop")

    def ask(self, sql: str, database: str = "postgres") -> None:
        self._run(_program("psql"), "-h", str(self.folder), "-U", "owner", "-d", database, "-v", "ON_ERROR_STOP=1", "-c", sql)

    def words(self, database: str, user: str = "owner") -> str:
        return f"host={self.folder} dbname={database} user={user}"


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    # A socket's path may have 107 bytes, which pytest's own folders would go beyond.
    with tempfile.TemporaryDirectory(prefix="lake-") as made:
        server = Server(Path(made))
        if os.geteuid() == 0:
            os.chown(made, pwd.getpwnam(server.user).pw_uid, pwd.getpwnam(server.user).pw_gid)
        server.make()
        server.start()
        try:
            yield server
        finally:
            server.stop()
