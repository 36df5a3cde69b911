"""Ground floor: knows no file format and no screen."""

import os

# The statistics work on many small matrices and the server on several threads: more threads inside each product only wait
# for one another (on two busy cores a fit took five times as long). Set before numpy is imported; a user's own value stays.
for _name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
