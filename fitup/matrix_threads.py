"""One thread for the matrix library under NumPy, whose matrices are small here.

After every product its threads spin for a while, waiting for the next. Nothing gets quicker by them, and they
take the second core from the photo's decoding and from other processes: on a busy machine an inspection then
takes two to five times as long.
"""

from __future__ import annotations

import os

__all__ = ["MATRIX_THREADS", "one_matrix_thread"]

MATRIX_THREADS = "OPENBLAS_NUM_THREADS"


def one_matrix_thread() -> None:
    """Ask for one thread, unless the user has asked for another number; before NumPy is loaded."""
    os.environ.setdefault(MATRIX_THREADS, "1")
