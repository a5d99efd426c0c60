"""Where the control socket of a data folder lies."""

import hashlib
import os
import tempfile
from pathlib import Path

from emberline.service.errors import ServiceError

NAME = "control.sock"
LONGEST = 100
"""Bytes of a socket's path that every Unix takes (104 on macOS, 108 on Linux, one for the end)."""


def socket_path(folder: Path) -> Path:
    """Return the socket of a data folder: in it, or, where that path is too long for a socket, in a private folder.

    Raises:
        ServiceError: The private folder belongs to somebody else.
    """
    path = folder.resolve() / NAME
    if len(os.fsencode(path)) <= LONGEST:
        return path
    private = Path(os.environ.get("XDG_RUNTIME_DIR") or _own_folder())
    digest = hashlib.sha256(os.fsencode(path)).hexdigest()[:16]
    return private / f"emberline-{digest}.sock"


def _own_folder() -> Path:
    """Return a folder of this user alone below the system's folder for temporary files."""
    user = os.getuid() if hasattr(os, "getuid") else 0
    folder = Path(tempfile.gettempdir()) / f"emberline-{user}"
    folder.mkdir(mode=0o700, exist_ok=True)
    status = folder.lstat()
    if hasattr(os, "getuid") and (status.st_uid != user or status.st_mode & 0o077 or folder.is_symlink()):
        raise ServiceError(f"{folder} is not yours alone: remove it, or name a data folder with a shorter path")
    return folder
