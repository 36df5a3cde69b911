"""What an answer frees is kept for the next: large arrays are made again without a page asked of the system."""

import platform
import subprocess
import sys

import pytest

# Two threads in turn, as a server's are; counts the pages that the second has to ask for.
TWICE = """
import resource, sys, threading
import numpy as np
from dashboard.web.allocation import keep_freed_memory

def fill():
    for _ in range(3):
        np.ones(6_000_000)

def faults():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    thread = threading.Thread(target=fill)
    thread.start()
    thread.join()
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before

if sys.argv[1] == "kept":
    assert keep_freed_memory()
faults()
print(faults())
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="other C libraries are left as they are")
def test_freed_memory_is_used_again() -> None:
    def asked(how: str) -> int:
        environment = {"NUMPY_MADVISE_HUGEPAGE": "0", "OPENBLAS_NUM_THREADS": "1"}  # pages of one size
        found = subprocess.run([sys.executable, "-c", TWICE, how], capture_output=True, text=True, check=True, env=environment)
        return int(found.stdout)

    assert asked("kept") * 20 < asked("left")
