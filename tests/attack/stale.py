"""Data of three months ago: is it said, and is what is due told by today?"""

import json
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.attack.commands import run, write
from tests.attack.rows import Row, row

AGE_DAYS = 94
# Over by the data's last day; over by today alone.
OVER, LATER = (60, 40, 20, 2), (0, 7, 30, 60)


def rows() -> list[Row]:
    newest = date.today() - timedelta(days=AGE_DAYS)
    due = [newest - timedelta(days=days) for days in OVER] + [newest + timedelta(days=days) for days in LATER]
    with TemporaryDirectory() as given:
        folder = Path(given)
        booked = newest - timedelta(days=90)
        files = write(
            folder / "x",
            riders=[f"R{n},road" for n in range(len(due))],
            fitters=["F1,Alder"],
            fit_sessions=[f"S{n},R{n},F1,quay,{booked if n else newest},first," for n in range(len(due))],
            follow_ups=[f"B{n},S{n},{booked if n else newest},{day},open" for n, day in enumerate(due)],
        )
        loaded = run(folder, "load", files)
        assert loaded.returncode == 0, loaded.stdout + loaded.stderr
        told = run(folder, "show", "calls").stdout
        machine = json.loads(run(folder, "show", "calls", "--json").stdout)
        doctor = run(folder, "doctor").stdout
    by_today = [one for one in machine["calls"] if one["state"] == "over"]
    failures = []
    if f"{AGE_DAYS} days ago" not in told.partition("\n")[0]:
        failures.append(f"show does not say first that the newest row is {AGE_DAYS} days old")
    if not machine.get("is_stale"):
        failures.append("show --json says nothing of the age of the data")
    if len(by_today) != len(due):
        failures.append(f"{len(by_today)} bookings are told as over, and {len(due)} are today")
    if f"{AGE_DAYS} days ago" not in doctor:
        failures.append(f"doctor says: {doctor.strip().splitlines()[-1]}")
    return [row("data of three months ago", "show, show --json, doctor", failures, "said first, and due is told by today")]
