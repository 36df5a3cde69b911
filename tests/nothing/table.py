"""Prints what studios falsely claim in which nothing acts and nothing changes (`make nothing`), and how much of what is true is
found in loud ones (`make loud`): python -m tests.nothing.table nothing 60=200 400=200 2000=200 --minutes 35 --out FILE.

Results are kept as lines of JSON under build/, one a studio, by the digest of the sources that infer and tell; a run goes on
where the one before it stopped, and the table is made from what is there.
"""

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from pathlib import Path
from typing import Any, Final

from dashboard.questions.selection.selection import SPLITS
from etl.load import load
from tests.nothing.claims import Claim, claims_of, kind_of, unknown_in
from tests.nothing.collecting import collected
from tests.nothing.found import FOUND
from tests.nothing.studios import loud, nothing, written
from tests.sources import digest

# What infers and tells, and what is simulated.
RESTS_ON: Final = ("shared/statistics", "dashboard/questions", "tests/nothing/studios.py")
BUILD: Final = Path("build/nothing")
TRUTHS: Final = {"nothing": nothing, "loud": loud}
PROCESSES: Final = 2
# What is true of a loud studio is looked for by one split alone.
_SPLITS: Final = {"nothing": SPLITS, "loud": ("arch_height",)}


def studio(job: tuple[str, int, int]) -> dict[str, Any]:
    """One studio, simulated, loaded and read: its claims by place and kind, and how long each step took (seconds)."""
    truth, riders, seed = job
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "studio.duckdb"
        load([written(TRUTHS[truth](riders), seed, Path(folder) / "exports")], path)
        loaded = time.perf_counter()
        said = collected(path, _SPLITS[truth])
    claims = list(claims_of(said))
    return {
        "truth": truth,
        "riders": riders,
        "seed": seed,
        "seconds_load": round(loaded - begun, 1),
        "seconds": round(time.perf_counter() - begun, 1),
        "n_said": len(said),
        "claims": [[claim.place, claim.kind, claim.text, claim.is_answer, claim.is_echo] for claim in claims],
        "unknown": unknown_in(said)[:50],
    }


def jobs(truth: str, sizes: dict[int, int], done: set[tuple[int, int]]) -> Iterator[tuple[str, int, int]]:
    """What is still to be made, so that every size goes forward by the same share."""
    wanted = [(number / n, riders, number) for riders, n in sizes.items() for number in range(n)]
    for _, riders, seed in sorted(wanted):
        if (riders, seed) not in done:
            yield truth, riders, seed


def run(truth: str, sizes: dict[int, int], minutes: float, made_of: str, processes: int = PROCESSES) -> list[dict[str, Any]]:
    """Makes studios until all are there or the time is over; gives all results that are kept under the digest `made_of`."""
    BUILD.mkdir(parents=True, exist_ok=True)
    kept = BUILD / f"{truth}-{made_of}.jsonl"
    results = [json.loads(line) for line in kept.read_text(encoding="utf-8").splitlines()] if kept.exists() else []
    to_do = jobs(truth, sizes, {(row["riders"], row["seed"]) for row in results})
    ends = time.monotonic() + 60 * minutes
    with ProcessPoolExecutor(processes) as pool, kept.open("a", encoding="utf-8") as file:
        running: set[Future[dict[str, Any]]] = set()
        while True:
            while len(running) < processes and time.monotonic() < ends and (job := next(to_do, None)):
                running.add(pool.submit(studio, job))
            if not running:
                return results
            finished, running = wait(running, return_when=FIRST_COMPLETED)
            for future in finished:
                results.append(future.result())
                file.write(json.dumps(results[-1]) + "\n")
                file.flush()


# A bold cell repeats the sentence of its row.
_TOLD_AS: Final = {"bold": "effect"}


def distinct(row: dict[str, Any]) -> list[tuple[str, str, str]]:
    """The claims of one studio, each once (place of its first, kind, text); an echo counts where nothing tells it in full."""
    claims = _claims_in(row)
    in_full = {claim.kind for claim in claims if not claim.is_echo}
    found: dict[tuple[str, str], str] = {}
    for claim in claims:
        if claim.is_echo and (_TOLD_AS.get(claim.kind, claim.kind) in in_full or claim.kind == "mark"):
            continue
        # A title ends without the stop of the sentence that it is.
        found.setdefault((claim.kind, claim.text.rstrip(".")), claim.place)
    return [(place, kind, text) for (kind, text), place in found.items()]


def _claims_in(row: dict[str, Any]) -> list[Claim]:
    """The claims that were kept of one studio and are claims to the detector as it stands."""
    claims = (Claim(*claim) for claim in row["claims"])
    return [claim for claim in claims if claim.kind in ("bold", "mark") or kind_of(claim.text)]


def on_answers(row: dict[str, Any]) -> list[tuple[str, str, str]]:
    """The claims of one studio's answers."""
    return [(claim.place, claim.kind, claim.text) for claim in _claims_in(row) if claim.is_answer]


def table(truth: str, results: Sequence[dict[str, Any]], made_of: str) -> str:
    """The table as Markdown."""
    by_size: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in results:
        by_size[row["riders"]].append(row)
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False).stdout.strip()
    parts = [f"Commit {commit}; digest of the sources that infer and tell: {made_of}.", ""]
    made = _of_nothing if truth == "nothing" else _of_loud
    return "\n".join([*parts, *made(dict(sorted(by_size.items())))]) + "\n"


def _of_nothing(by_size: dict[int, list[dict[str, Any]]]) -> Iterator[str]:
    heads = (
        "riders",
        "studios",
        "false on a page's answer",
        "on any answer",
        "false claims a studio, all views",
        "none",
        "most",
    )
    yield f"| {' | '.join(heads)} | seconds |"
    yield "|---" * (len(heads) + 1) + "|"
    for riders, rows in by_size.items():
        counts = [len(distinct(row)) for row in rows]
        answers = [{place.split()[0] for place, *_ in on_answers(row)} for row in rows]
        on_pages, on_any = sum("page" in places for places in answers), sum(bool(places) for places in answers)
        yield (
            f"| {riders:,} | {len(rows)} "
            f"| {on_pages} ({100 * on_pages / len(rows):.1f} %) | "
            f"{on_any} ({100 * on_any / len(rows):.1f} %) | {statistics.mean(counts):.2f} | "
            f"{sum(count == 0 for count in counts)} | {max(counts)} | {statistics.median(row['seconds'] for row in rows):.0f} |"
        )
    yield ""
    yield "False claims a studio on the answers, by place and kind:"
    yield ""
    yield from _breakdown(by_size, on_answers)
    yield ""
    yield "False claims a studio over all views, each once, by where it is told first; in brackets, studios with any:"
    yield ""
    yield from _breakdown(by_size, distinct)


def _breakdown(by_size: dict[int, list[dict[str, Any]]], claims_in: Any) -> Iterator[str]:
    counts: dict[tuple[str, str], dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
    for riders, rows in by_size.items():
        for row in rows:
            found = Counter((place, kind) for place, kind, _ in claims_in(row))
            for key, n in found.items():
                counts[key][riders].append(n)
    yield f"| place | kind | {' | '.join(f'{riders:,} riders' for riders in by_size)} |"
    yield "|---|---|" + "---|" * len(by_size)
    for (place, kind), found_by in sorted(counts.items()):
        cells = [f"{sum(found_by[riders]) / len(rows):.2f} ({len(found_by[riders])})" for riders, rows in by_size.items()]
        yield f"| {place} | {kind} | {' | '.join(cells)} |"


def _of_loud(by_size: dict[int, list[dict[str, Any]]]) -> Iterator[str]:
    sizes = " | ".join(f"{riders:,} riders ({len(rows)} studios)" for riders, rows in by_size.items())
    yield f"| what is true | {sizes} |"
    yield "|---|" + "---|" * len(by_size)
    for name in FOUND:
        # From the claims that were kept, as what is false: a name that was looked for wrongly needs no studio anew.
        shares = [100 * statistics.mean(FOUND[name](_claims_in(row)) for row in rows) for rows in by_size.values()]
        yield f"| {name} | {' | '.join(f'{share:.0f} %' for share in shares)} |"


def main() -> None:
    """Runs and writes the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("truth", choices=TRUTHS)
    parser.add_argument("sizes", nargs="*", default=["60=200", "400=200", "2000=200"], metavar="RIDERS=STUDIOS")
    parser.add_argument("--minutes", type=float, default=35.0)
    parser.add_argument("--processes", type=int, default=PROCESSES)
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    sizes = {int(riders): int(n) for riders, n in (size.split("=") for size in asked.sizes)}
    made_of = digest(*RESTS_ON)
    made = table(asked.truth, run(asked.truth, sizes, asked.minutes, made_of, asked.processes), made_of)
    if asked.out:
        asked.out.write_text(made, encoding="utf-8")
    sys.stdout.write(made)


if __name__ == "__main__":
    main()
