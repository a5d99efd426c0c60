"""How far each device is stored, in a small file beside the store.

It is written after each commit and before the device is told. Should it be lost, the device sends all that it keeps and
the store leaves out what it has, so nothing hangs on it but the evenness of sample times across a restart.
"""

import contextlib
import json
import logging
from pathlib import Path
from typing import Any

LOG = logging.getLogger(__name__)


PREFIX, SUFFIX = "link-", ".json"


def benches_with_standing(folder: Path) -> list[str]:
    """Return the benches of a data folder whose devices have been heard there, in order."""
    return sorted(path.name[len(PREFIX) : -len(SUFFIX)] for path in folder.glob(f"{PREFIX}*{SUFFIX}"))


class StandingFile:
    """The standing of one bench's device."""

    def __init__(self, folder: Path, bench: str) -> None:
        """Use the file of a bench in a data folder."""
        self._path = folder / f"{PREFIX}{bench}{SUFFIX}"
        self._unfinished = self._path.with_suffix(".unfinished")
        self._told = False

    def read(self) -> dict[str, Any] | None:
        """Return what was written last, None where there is nothing or it is damaged."""
        try:
            document = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return document if isinstance(document, dict) else None

    def forget(self) -> None:
        """Have the device send all that it keeps: what is known of its clock does not hold for a clock set anew."""
        with contextlib.suppress(OSError):
            self._path.unlink(missing_ok=True)

    def write(self, document: dict[str, Any]) -> None:
        """Replace it whole; a disk that refuses is reported once and does no harm."""
        try:
            self._unfinished.write_text(json.dumps(document), encoding="utf-8")
            self._unfinished.replace(self._path)
            self._told = False
        except OSError as error:
            if not self._told:
                LOG.warning("cannot write %s: %s", self._path, error.strerror or error)
            self._told = True
