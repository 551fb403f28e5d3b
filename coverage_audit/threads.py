"""How many threads the linear algebra under NumPy takes, by its makers' names."""

from __future__ import annotations

ONE_THREAD = dict.fromkeys(
    ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS", "OMP_NUM_THREADS"), "1"
)
"""For the environment of a process. Sums of several threads differ in their last digits with the number of
processors, and small ones take longer; the libraries read this when they are first imported."""
