"""Products of matrices keep to the thread that asks for them, whatever the number of processors."""

import subprocess
import sys

LIMITED = """
from threadpoolctl import threadpool_info
from dashboard.questions.memory.side_by_side import one_thread_a_product

def threads():
    return sorted(library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas")

before = threads()
one_thread_a_product()
print(before, threads())
"""


def test_every_blas_is_held_to_one_thread() -> None:
    """numpy and scipy bring a BLAS each; both begin with two threads here, where there are two processors."""
    environment = {"OPENBLAS_NUM_THREADS": "2"}
    found = subprocess.run([sys.executable, "-c", LIMITED], capture_output=True, text=True, check=True, env=environment)
    before, after = (part.strip("[] \n").split(", ") for part in found.stdout.split("] ["))
    assert set(after) == {"1"} and len(after) >= len(before) and set(before) <= {"1", "2"}
