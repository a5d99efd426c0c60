"""Where a store may lie, and who may write to it."""

import os
import sys
from pathlib import Path
from typing import IO

from emberline.store.errors import StoreBusyError, StorePlaceError

MOUNTS = Path("/proc/self/mounts")

# SQLite's WAL needs shared memory and locks that hold between all programs: https://sqlite.org/wal.html, section 1
# FUSE file systems are listed as `fuse.<name>`.
NETWORK_TYPES = frozenset(
    {
        "9p",
        "afs",
        "beegfs",
        "ceph",
        "cifs",
        "davfs",
        "glusterfs",
        "nfs",
        "nfs4",
        "rclone",
        "s3fs",
        "smb3",
        "smbfs",
        "sshfs",
    }
)


def refuse_network_share(path: Path, mounts: str | None = None) -> None:
    """Refuse a store on a file system that lies across a network.

    Args:
        path: Where the store lies or will lie.
        mounts: Text of the system's table of mounts; by default it is read where the system has one.

    Raises:
        StorePlaceError: The path lies on such a file system.
    """
    if mounts is None:
        if not MOUNTS.exists():
            return
        mounts = MOUNTS.read_text(encoding="utf-8", errors="surrogateescape")
    place = path.resolve()
    best, kind = Path("/"), ""
    for line in mounts.splitlines():
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        point = Path(_unescaped(fields[1]))
        # Of several mounts on one point the last one counts.
        if (point == place or point in place.parents) and len(point.parts) >= len(best.parts):
            best, kind = point, fields[2]
    if kind.removeprefix("fuse.") in NETWORK_TYPES:
        raise StorePlaceError(
            f"{best} is a network share ({kind}), where a store can be damaged: keep it on a local disk"
        )


def _unescaped(field: str) -> str:
    for code, char in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        field = field.replace(code, char)
    return field


def file_number(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from every other one (device, number on it), or None where there is none."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


class WriterLock:
    """The right to write to one store, held by one program at a time.

    The lock file stays: whoever deleted it could delete the one that the next program has just locked.
    """

    def __init__(self, store: Path) -> None:
        """Take the lock beside a store.

        Raises:
            StoreBusyError: Another program holds it.
            StorePlaceError: The lock file cannot be made.
        """
        path = store.resolve().with_name(store.name + ".lock")
        try:
            self._file: IO[bytes] = path.open("a+b")
        except OSError as exc:
            raise StorePlaceError(f"cannot write beside the store: {exc.strerror} ({path})") from exc
        try:
            _lock(self._file)
        except OSError as exc:
            self._file.close()
            raise StoreBusyError(
                f"another program writes to {store}: end it first, or choose another data folder"
            ) from exc

    def release(self) -> None:
        """Give the lock back; a second call does nothing."""
        self._file.close()


def _lock(file: IO[bytes]) -> None:
    if sys.platform == "win32":
        import msvcrt

        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        os.set_inheritable(file.fileno(), False)
