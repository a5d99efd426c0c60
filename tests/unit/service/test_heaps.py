import gc
import platform
import re
import subprocess
import sys
import weakref
from pathlib import Path

import pytest

from emberline.service.heaps import (
    HEAPS,
    MOST_FREE_BYTES,
    give_back,
    leave_alone_what_stands,
    leaving_alone_what_stands,
    look_as_often_as_suits,
)

pytestmark = pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")

# Eight threads hold memory at the same time; then glibc is asked for its heaps.
THREADS = """
import ctypes, sys, threading
from emberline.service.heaps import keep_heaps_small
if sys.argv[1] == "small":
    keep_heaps_small()
together = threading.Barrier(8)
def work():
    for _ in range(100):
        together.wait()
        kept = [bytes(2_000) for _ in range(100)]
threads = [threading.Thread(target=work) for _ in range(8)]
for one in threads: one.start()
for one in threads: one.join()
libc = ctypes.CDLL(None)
libc.fopen.restype = ctypes.c_void_p
file = ctypes.c_void_p(libc.fopen(sys.argv[2].encode(), b"w"))
libc.malloc_info(0, file)
libc.fclose(file)
"""


def heaps(how: str, report: Path) -> int:
    subprocess.run([sys.executable, "-c", THREADS, how, str(report)], check=True, timeout=50.0)
    return len(re.findall("<heap nr=", report.read_text()))


def test_threads_share_few_heaps(tmp_path: Path) -> None:
    assert heaps("as usual", tmp_path / "usual") > HEAPS
    assert heaps("small", tmp_path / "small") <= HEAPS


# Large pieces are freed first, which teaches glibc to keep as much, then many smaller ones, the topmost first. The list
# that holds them does not grow: its own pieces would lie among them.
FREED = """
import resource, sys
from pathlib import Path
from emberline.service.heaps import keep_heaps_small
if sys.argv[1] == "small":
    keep_heaps_small()
def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize()
before = resident()
for _ in range(3):
    large = bytes(8_000_000)
    del large
kept = [None] * 200
for i in range(200):
    kept[i] = b"x" * 60_000
for i in reversed(range(200)):
    kept[i] = None
print(resident() - before)
"""


def kept_bytes(how: str) -> int:
    done = subprocess.run([sys.executable, "-c", FREED, how], check=True, timeout=50.0, capture_output=True)
    return int(done.stdout)


def test_what_is_freed_goes_back() -> None:
    assert kept_bytes("as usual") > 4 * MOST_FREE_BYTES
    assert kept_bytes("small") < 2 * MOST_FREE_BYTES


# Small pieces are kept between those that are freed, so that no end of a heap comes free.
HOLES = """
import resource
from pathlib import Path
from emberline.service.heaps import give_back, keep_heaps_small
keep_heaps_small()
def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize()
kept = []
held = []
for _ in range(400):
    held.append(bytearray(60_000))
    kept.append(bytearray(600))
del held
full = resident()
give_back()
print(full - resident())
"""


def test_what_is_free_between_pieces_in_use_goes_back_when_asked_for() -> None:
    done = subprocess.run([sys.executable, "-c", HOLES], check=True, timeout=50.0, capture_output=True)
    assert int(done.stdout) > 400 * 60_000 // 2


# The library is asked for memory often: a handle each time would be the growth that giving back is to prevent.
OFTEN = """
import gc
from emberline.service.heaps import give_back
give_back()
gc.collect()
before = len(gc.get_objects())
for _ in range(50):
    give_back()
gc.collect()
print(len(gc.get_objects()) - before)
"""


def test_giving_back_leaves_nothing_behind() -> None:
    done = subprocess.run([sys.executable, "-c", OFTEN], check=True, timeout=50.0, capture_output=True)
    assert int(done.stdout) < 50


class Circle:
    def __init__(self) -> None:
        self.itself = self


def test_what_only_holds_itself_is_let_go_before_memory_goes_back() -> None:
    gone = weakref.ref(Circle())
    assert gone() is not None
    give_back()
    assert gone() is None


def test_what_stands_is_not_looked_through_while_a_program_works() -> None:
    assert gc.get_freeze_count() == 0
    with leaving_alone_what_stands():
        assert gc.get_freeze_count() > 0
        gone = weakref.ref(Circle())
        give_back()
        assert gone() is None
    assert gc.get_freeze_count() == 0


def test_what_was_taken_up_since_is_left_alone_from_then_on_and_what_only_holds_itself_goes_first() -> None:
    with leaving_alone_what_stands():
        before = gc.get_freeze_count()
        taken_up = [[number] for number in range(10_000)]
        gone = weakref.ref(Circle())
        leave_alone_what_stands()
        assert gone() is None
        assert gc.get_freeze_count() >= before + len(taken_up)
    assert gc.get_freeze_count() == 0


def test_of_many_benches_objects_are_looked_at_less_often_and_as_usual_in_the_end() -> None:
    usual = gc.get_threshold()
    with leaving_alone_what_stands():
        look_as_often_as_suits(1)
        assert gc.get_threshold() == usual
        look_as_often_as_suits(1_000)
        assert gc.get_threshold() == (20_000, *usual[1:])
        # Sooner or later what only holds itself goes all the same, and nobody asks for it.
        gone = weakref.ref(Circle())
        kept = [[number] for number in range(250_000)]
        assert gone() is None
        assert kept
    assert gc.get_threshold() == usual


# A curve that grows, and other curves after it: arrays of every small size come and go, some of each at a time.
SIZES = """
import contextlib, resource, sys
from pathlib import Path
import numpy as np
from emberline.service.heaps import leaving_alone_what_stands
def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize()
with leaving_alone_what_stands() if sys.argv[1] == "started" else contextlib.nullcontext():
    before = resident()
    for size in range(1200):
        arrays = [np.empty(size, dtype=np.uint8) for _ in range(9)]
        del arrays
    print(resident() - before)
"""


def grown_bytes(how: str) -> int:
    done = subprocess.run([sys.executable, "-c", SIZES, how], check=True, timeout=50.0, capture_output=True)
    return int(done.stdout)


def test_a_program_that_works_does_not_grow_with_the_sizes_of_its_arrays() -> None:
    assert grown_bytes("as usual") > 3_000_000
    assert grown_bytes("started") < 300_000
