"""How the C library gives memory to a process that runs for months: from one heap, and back to the system soon.

A daemon has a dozen threads that take turns, and glibc has a heap for each of them unless it is told otherwise; what is
free in one is of no use to the others. It also keeps more for itself the larger the pieces that it has seen freed. Both
let a program grow for hours that keeps nothing more. What is free in the midst of a heap goes back only when asked for.

Python finds objects that only hold each other late, in a daemon megabytes of them at a time, and where they lay, others
have settled meanwhile. So they are looked for before memory is given back, and what lives as long as the program is not
looked through again each time. Of many benches it looks less often: a second of a thousand makes so many objects that
Python would look a hundred times in it, and through all that stands every other second.

NumPy keeps some freed pieces of each small size for its next arrays, and a curve that grows by a second each second
asks for ever new sizes: over hours this comes to 4 MB in each process, scattered among what else it keeps. So all of it
is taken at the start, in one place, once.
"""

import ctypes
import functools
import gc
import platform
from collections.abc import Iterator
from contextlib import contextmanager

M_TRIM_THRESHOLD, M_ARENA_MAX = -1, -8
"""From `malloc.h` of glibc."""
HEAPS = 1
MOST_FREE_BYTES = 1024 * 1024
"""Free memory at the end of a heap; more of it goes back."""
NEW_OBJECTS, NEW_OBJECTS_A_BENCH = gc.get_threshold()[0], 20
"""Objects that come, less those that go, before Python looks among them: its own number, and one for many benches."""
SMALL_BYTES, KEPT_OF_A_SIZE = 1024, 7
"""Size below which NumPy keeps freed pieces, and how many of each: `NBUCKETS` and `NCACHE` of its `alloc.c`."""


def keep_heaps_small() -> None:
    """Have this process keep little memory that it does not use, where the C library is glibc; does nothing elsewhere.

    Must be called before threads are started.
    """
    library = _glibc()
    if library is not None:
        library.mallopt(M_ARENA_MAX, HEAPS)
        library.mallopt(M_TRIM_THRESHOLD, MOST_FREE_BYTES)


@contextmanager
def leaving_alone_what_stands() -> Iterator[None]:
    """Look for what only holds itself among what comes from now on: for a program that has started, while it works."""
    _fill_small_pieces()
    before = gc.get_threshold()
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()
        gc.set_threshold(*before)


def look_as_often_as_suits(benches: int) -> None:
    """Within `leaving_alone_what_stands`, have Python look for what only holds itself as often as suits the benches."""
    gc.set_threshold(max(NEW_OBJECTS, NEW_OBJECTS_A_BENCH * benches), *gc.get_threshold()[1:])


def leave_alone_what_stands() -> None:
    """Do the same once more within `leaving_alone_what_stands`, when much has been taken up that stays.

    With a thousand benches, looking through them again and again cost a third of the event loop, 0.2 s at a time.
    """
    gc.collect(1)
    gc.freeze()


def give_back() -> None:
    """Return free memory to the system, also from the midst of heaps; takes milliseconds, for when much was let go."""
    gc.collect()
    library = _glibc()
    if library is not None:
        library.malloc_trim(0)


def _fill_small_pieces() -> None:
    """Have NumPy keep as many small pieces as it ever will; all threads of a process share them."""
    import numpy as np  # starts threads of its own, before which heaps are to be kept small

    kept = [np.empty(size, dtype=np.uint8) for size in range(SMALL_BYTES) for _ in range(KEPT_OF_A_SIZE)]
    del kept


@functools.cache
def _glibc() -> ctypes.CDLL | None:
    """Return the C library where it is glibc; loaded once, since each loading leaves some kilobytes behind."""
    return ctypes.CDLL(None) if platform.libc_ver()[0] == "glibc" else None
