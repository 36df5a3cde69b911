"""What a load may hold: found from the machine, its groups and the limits of the process, or set by the studio."""

import resource
from pathlib import Path

import pytest

from shared.memory import LEAST_BYTES, MB, MOST_BYTES, UNKNOWN_BYTES, loading_memory

GROUP = "the limit of the container or service that it runs in"


def proc(tmp_path: Path, group: str, available_kb: int = 4_000_000) -> Path:
    (tmp_path / "proc" / "self").mkdir(parents=True)
    (tmp_path / "proc" / "meminfo").write_text(f"MemTotal: 9000000 kB\nMemAvailable:   {available_kb} kB\n", encoding="utf-8")
    (tmp_path / "proc" / "self" / "cgroup").write_text(group, encoding="utf-8")
    (tmp_path / "proc" / "self" / "status").write_text("VmSize:\t  500000 kB\nVmData:\t  300000 kB\n", encoding="utf-8")
    return tmp_path / "proc"


def limit(tmp_path: Path, path: str, text: str) -> Path:
    file = tmp_path / "groups" / path
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(f"{text}\n", encoding="utf-8")
    return tmp_path / "groups"


def test_half_of_what_the_machine_has_free(tmp_path: Path) -> None:
    found = loading_memory(proc=proc(tmp_path, "0::/\n"), groups=tmp_path / "none")
    assert (found.n_bytes, found.of) == (2_048_000_000, "half of 4,096 MB, which this machine has free")


@pytest.mark.parametrize(
    ("group", "path"),
    [
        ("0::/system.slice/fit.service\n", "system.slice/fit.service/memory.max"),
        ("0::/system.slice/fit.service\n", "system.slice/memory.max"),  # the group around it
        ("0::/a/path/of/the/host\n", "memory.max"),  # in a container its own group is the root
        ("4:cpu:/\n9:memory,hugetlb:/docker/7f\n", "memory/docker/7f/memory.limit_in_bytes"),
        ("9:memory:/docker/7f\n0::/\n", "memory/memory.limit_in_bytes"),
    ],
)
def test_a_group_of_either_version_bounds_it(tmp_path: Path, group: str, path: str) -> None:
    groups = limit(tmp_path, path, "1000000000")
    found = loading_memory(proc=proc(tmp_path, group), groups=groups)
    assert (found.n_bytes, found.of) == (500 * MB, f"half of 1,000 MB, {GROUP}")


@pytest.mark.parametrize("text", ["max", "9223372036854771712"])
def test_a_group_without_a_limit_bounds_nothing(tmp_path: Path, text: str) -> None:
    found = loading_memory(proc=proc(tmp_path, "0::/\n"), groups=limit(tmp_path, "memory.max", text))
    assert found.n_bytes == 2_048_000_000


def test_the_limit_of_the_process_counts_what_it_has_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    limits = {resource.RLIMIT_AS: 2**31, resource.RLIMIT_DATA: resource.RLIM_INFINITY}
    monkeypatch.setattr(resource, "getrlimit", lambda kind: (limits[kind], limits[kind]))
    found = loading_memory(proc=proc(tmp_path, "0::/\n"), groups=tmp_path / "none")
    assert found.n_bytes == (2**31 - 500_000 * 1024) // 2
    assert found.of.endswith("which the limit of this process (ulimit) leaves")


def test_a_setting_comes_before_all_and_little_or_nothing_known_has_a_floor(tmp_path: Path) -> None:
    small = proc(tmp_path, "0::/\n", available_kb=1000)
    assert loading_memory(300, proc=small).n_bytes == 300 * MB
    assert loading_memory(300, proc=small).of == "set as [reading] loading_memory_mb"
    assert loading_memory(proc=small, groups=tmp_path / "none").n_bytes == LEAST_BYTES
    assert loading_memory(proc=tmp_path / "none", groups=tmp_path / "none").n_bytes == UNKNOWN_BYTES
    (small / "meminfo").write_text("MemAvailable: 900000000 kB\n", encoding="utf-8")
    assert loading_memory(proc=small, groups=tmp_path / "none").n_bytes == MOST_BYTES
