"""How much memory this machine leaves to a load: of the machine itself, of the control groups of the system that it runs in
(versions 2 and 1, as containers and services are bounded by them), and of the limits of the process.
"""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

MB: Final = 1_000_000
# What is left for the rest of the program, for the system and for other programs.
_SHARE: Final = 0.5
# Below it every step spills in pieces too small to end; above it nothing goes faster.
LEAST_BYTES: Final = 250 * MB
MOST_BYTES: Final = 8_000 * MB
# Where nothing is known of the machine.
UNKNOWN_BYTES: Final = 1_000 * MB
# A group without a limit tells a number beyond any memory.
_NO_LIMIT: Final = 1 << 60


@dataclass(frozen=True)
class Bound:
    """One bound of what the program may hold, and what it is of, in words."""

    n_bytes: int
    of: str


def loading_memory(
    setting_mb: int | None = None, *, proc: Path = Path("/proc"), groups: Path = Path("/sys/fs/cgroup")
) -> Bound:
    """What a load may hold before it spills to disk: `setting_mb` where a studio has set it, else half of what is left."""
    if setting_mb:
        return Bound(setting_mb * MB, "set as [reading] loading_memory_mb")
    least = memory_left(proc=proc, groups=groups)
    if least is None:
        return Bound(UNKNOWN_BYTES, "what is taken where nothing is known of the machine")
    share = int(min(max(_SHARE * least.n_bytes, LEAST_BYTES), MOST_BYTES))
    return Bound(share, f"half of {least.n_bytes // MB:,} MB, {least.of}")


def memory_left(*, proc: Path = Path("/proc"), groups: Path = Path("/sys/fs/cgroup")) -> Bound | None:
    """The least that any bound leaves; None where nothing is known of the machine."""
    bounds = [*_of_machine(proc), *_of_groups(proc, groups), *_of_process(proc)]
    return min(bounds, key=lambda bound: bound.n_bytes, default=None)


def _of_machine(proc: Path) -> Iterator[Bound]:
    for line in _lines(proc / "meminfo"):
        if line.startswith("MemAvailable:"):
            yield Bound(1024 * int(line.split()[1]), "which this machine has free")


def _of_groups(proc: Path, groups: Path) -> Iterator[Bound]:
    for line in _lines(proc / "self/cgroup"):
        _, controllers, path = line.split(":", 2)
        if not controllers:
            yield from _of_group(groups, path, "memory.max")
            # Where both versions are in use, the second lies apart.
            yield from _of_group(groups / "unified", path, "memory.max")
        elif "memory" in controllers.split(","):
            yield from _of_group(groups / "memory", path, "memory.limit_in_bytes")


def _of_group(root: Path, path: str, name: str) -> Iterator[Bound]:
    """The limits of a group and of those around it. In a container its own path is not there, and the root is its own."""
    inner = PurePosixPath(path.lstrip("/"))
    for folder in (inner, *inner.parents):
        for text in _lines(root / folder / name):
            if text.isdecimal() and int(text) < _NO_LIMIT:
                yield Bound(int(text), "the limit of the container or service that it runs in")


def _of_process(proc: Path) -> Iterator[Bound]:
    """Address space and data that the limits of the process leave; both count what the program has reserved already."""
    with suppress(ImportError, OSError, ValueError):
        import resource  # not there on Windows

        taken = {line.split(":")[0]: line.split(":")[1] for line in _lines(proc / "self/status") if ":" in line}
        for limit, field in ((resource.RLIMIT_AS, "VmSize"), (resource.RLIMIT_DATA, "VmData")):
            most = resource.getrlimit(limit)[0]
            if most != resource.RLIM_INFINITY:
                used = 1024 * int(taken[field].split()[0]) if field in taken else 0
                yield Bound(max(most - used, 0), "which the limit of this process (ulimit) leaves")


def _lines(path: Path) -> list[str]:
    try:
        return path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return []
