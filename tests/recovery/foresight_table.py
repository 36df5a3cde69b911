"""Writes tests/recovery/foresight.md, `make foresight`: whether 80 % bands hold on riders who were never seen.

Every studio's result is kept in `build/foresight.jsonl` under the digest of the code, so that a run that was stopped goes on
where it was; the table says how many studios each of its lines rests on.
"""

import hashlib
import json
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np

from tests.recovery.foresight import KINDS, Held, Kind, frame_with_types, studio
from tests.recovery.running import run
from tests.sources import ROOT, digest, reached

STUDIOS: Final = 500
# Riders, and how long a studio of so many takes beside one of the fewest.
SIZES: Final = {60: 1, 300: 2, 2000: 6}
KEPT: Final = ROOT / "build" / "foresight.jsonl"
TABLE: Final = Path(__file__).parent / "foresight.md"
# What foresees and what makes the bands, and how it is tried. The models beneath have a table of their own, recovery.md.
RESTS_ON: Final = (
    *reached("tests/recovery/foresight.py", "shared/statistics/foresight"),
    *reached("tests/recovery/foresight.py", "dashboard/questions/foresight"),
    "tests/recovery/foresight.py",
)
# A share of fewer captures than this, over all studios, is told by chance alone.
CAPTURES_OF_A_TYPE: Final = 1000

HEAD: Final = """# Bands on riders who were never seen

Written by `make foresight` on code `{code}`. Each simulated studio (`foresight.py`) foresees captures of riders it never
saw, in bands of 80 % of the tilt. *Inside*: the share of those captures in their band, and how it scatters from studio to
studio. *Distance*: the same of the distance from neutral. *Foot types*: the least and the most inside among types with a band
of their own (40 riders), each over all studios. *Width*: of the bands, beside bands about the arrival with the mean change.

| riders who | riders | studios | inside | distance | foot types | width |
|---|---|---|---|---|---|---|
"""


@cache
def code() -> str:
    """The digest of what the table rests on: of the code, and of a small studio of each kind, since what simulates them
    knows more kinds than these."""
    total = hashlib.sha256(digest(*RESTS_ON).encode())
    for kind in KINDS:
        total.update(frame_with_types(kind, 20, 10, 0).captures.rows["tilt"].tobytes())
    return total.hexdigest()[:12]


def kept(path: Path = KEPT) -> dict[tuple[str, int], dict[int, Held]]:
    """The studios that were simulated with this very code, by kind and riders, then by seed."""
    now, found = code(), {(kind.name, riders): dict[int, Held]() for kind in KINDS for riders in SIZES}
    for text in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
        line = json.loads(text)
        if line["code"] == now:
            found[line["kind"], line["riders"]][line["seed"]] = Held(**line["held"])
    return found


def owed(studios: int) -> list[tuple[int, Kind, int]]:
    """What is still to be simulated, so that a run that is stopped has spent about as long on each kind and size."""
    done = kept()
    return [
        (seed, kind, riders)
        for seed, riders in sorted(
            ((seed, riders) for seed in range(studios) for riders in SIZES), key=lambda one: ((one[0] + 1) * SIZES[one[1]], one)
        )
        for kind in KINDS
        if seed not in done[kind.name, riders]
    ]


def simulate(studios: int, seconds: float) -> None:
    """Simulates what is owed, one studio after the other, until it is done or the time is over."""
    KEPT.parent.mkdir(exist_ok=True)
    ends, now = time.monotonic() + seconds, code()
    with KEPT.open("a", encoding="utf-8") as out:
        for seed, kind, riders in owed(studios):
            if time.monotonic() > ends:
                break
            line = {"code": now, "kind": kind.name, "riders": riders, "seed": seed, "held": asdict(studio(kind, riders, seed))}
            out.write(f"{json.dumps(line)}\n")
            out.flush()


def table() -> str:
    """The table in Markdown, from what is kept."""
    return HEAD.format(code=code()) + "".join(
        _line(kind, riders, list(of_seed.values())) for (kind, riders), of_seed in kept().items() if of_seed
    )


def _line(kind: str, riders: int, made: list[Held]) -> str:
    inside, distance = ([getattr(one, name) for one in made] for name in ("inside", "distance_inside"))
    width = np.mean([one.width_ratio for one in made])
    cells = (kind, riders, len(made), _percent(inside), _percent(distance), _of_types(made), f"{width:.2f}")
    return f"| {' | '.join(map(str, cells))} |\n"


def _of_types(made: list[Held]) -> str:
    """The least and the most inside of the foot types, each over all studios in which it has a band of its own."""
    shares = [100 * n / of for n, of in _by_type(made) if of >= CAPTURES_OF_A_TYPE]
    return f"{min(shares):.1f} to {max(shares):.1f} %" if shares else "-"


def _by_type(made: list[Held]) -> Iterator[tuple[int, int]]:
    for name in sorted({name for one in made for name in one.of_types}):
        counts = [one.of_types[name] for one in made if name in one.of_types]
        yield sum(n for n, _ in counts), sum(of for _, of in counts)


def _percent(shares: list[float]) -> str:
    return f"{100 * float(np.mean(shares)):.1f} % (sd {100 * float(np.std(shares)):.1f})"


if __name__ == "__main__":
    run(sys.argv[1:], __doc__, (STUDIOS, "of each kind and size"), simulate, table, TABLE)
