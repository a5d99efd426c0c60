"""A small disk of a test's own, which can be filled or taken away."""

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def disk_of(mebibytes: int, place: Path) -> Iterator[Path]:
    """Mount a file system in memory at a new folder, or skip the test where this machine does not let us make one."""
    place.mkdir()
    mount = shutil.which("mount")
    size = f"size={mebibytes}m"
    made = mount and subprocess.run([mount, "-t", "tmpfs", "-o", size, "none", place], capture_output=True)
    if not made or made.returncode:
        pytest.skip("no file system can be mounted here: that takes root")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", place], check=True)
