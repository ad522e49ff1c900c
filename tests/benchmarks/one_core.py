"""Keep a benchmark to one thread, or to one core; call before anything numerical is imported."""

from __future__ import annotations

import os
import sys

_THREAD_COUNTS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)


def use_one_thread() -> str:
    """Hold BLAS, OpenMP and OpenCV to one thread each.

    BLAS and OpenMP read their environment variables once, when they are loaded: numpy must not be loaded yet.

    Returns
    -------
    str
        What was done, for the head of a report.
    """
    late = "numpy" in sys.modules
    for name in _THREAD_COUNTS:
        os.environ[name] = "1"
    import cv2

    cv2.setNumThreads(1)
    told = f"cv2.setNumThreads(1); {_THREAD_COUNTS[0]} and the like set to 1"
    return told + (" (too late: numpy was loaded before)" if late else " before numpy was loaded")


def use_one_core() -> str:
    """Hold the process to one core where the system can, and every library to one thread.

    Returns
    -------
    str
        What was done, for the head of a report.
    """
    told = use_one_thread()
    if not hasattr(os, "sched_setaffinity"):
        return told + "; this system cannot bind a process to a core"
    core = max(os.sched_getaffinity(0))
    os.sched_setaffinity(0, {core})
    return told + f"; process bound to core {core}"
