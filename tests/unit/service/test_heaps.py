import platform
import re
import subprocess
import sys
from pathlib import Path

import pytest

from emberline.service.heaps import HEAPS

# Eight threads hold memory at the same time; then glibc is asked for its heaps.
THREADS = """
import ctypes, sys, threading
from emberline.service.heaps import share_heaps
if sys.argv[1] == "shared":
    share_heaps()
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


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
def test_threads_share_few_heaps(tmp_path: Path) -> None:
    assert heaps("as usual", tmp_path / "usual") > HEAPS
    assert heaps("shared", tmp_path / "shared") <= HEAPS
