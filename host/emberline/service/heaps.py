"""From how many heaps the C library gives memory to threads: few, for what is free in one is of no use to the others.

A daemon has a dozen threads that take turns, and glibc has a heap for each of them unless it is told otherwise: the
program then grows for hours, though it keeps nothing more.
"""

import ctypes
import platform

M_ARENA_MAX = -8
"""From `malloc.h` of glibc."""
HEAPS = 2


def share_heaps() -> None:
    """Have this process's threads share two heaps, where the C library is glibc; does nothing elsewhere.

    Must be called before threads are started.
    """
    if platform.libc_ver()[0] == "glibc":
        ctypes.CDLL(None).mallopt(M_ARENA_MAX, HEAPS)
