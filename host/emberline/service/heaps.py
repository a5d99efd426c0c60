"""How the C library gives memory to a process that runs for months: from few heaps, and back to the system soon.

A daemon has a dozen threads that take turns, and glibc has a heap for each of them unless it is told otherwise; what is
free in one is of no use to the others. It also keeps more for itself the larger the pieces that it has seen freed. Both
let a program grow for hours that keeps nothing more. What is free in the midst of a heap goes back only when asked for.
"""

import ctypes
import functools
import platform

M_TRIM_THRESHOLD, M_ARENA_MAX = -1, -8
"""From `malloc.h` of glibc."""
HEAPS = 2
MOST_FREE_BYTES = 1024 * 1024
"""Free memory at the end of a heap; more of it goes back."""


def keep_heaps_small() -> None:
    """Have this process keep little memory that it does not use, where the C library is glibc; does nothing elsewhere.

    Must be called before threads are started.
    """
    library = _glibc()
    if library is not None:
        library.mallopt(M_ARENA_MAX, HEAPS)
        library.mallopt(M_TRIM_THRESHOLD, MOST_FREE_BYTES)


def give_back() -> None:
    """Return free memory to the system, also from the midst of heaps; takes milliseconds, for when much was let go."""
    library = _glibc()
    if library is not None:
        library.malloc_trim(0)


@functools.cache
def _glibc() -> ctypes.CDLL | None:
    """Return the C library where it is glibc; loaded once, since each loading leaves some kilobytes behind."""
    return ctypes.CDLL(None) if platform.libc_ver()[0] == "glibc" else None
