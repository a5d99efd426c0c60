"""How far each device is stored, in a small file beside the store.

It is written with the first commit of each boot, now and then, and at the end: from it a host that was away knows whose
frames a broker has kept for it. It may be older than the store, or lost: the device sends what it keeps and the store
leaves out what it has, so nothing else hangs on it but the evenness of sample times across a restart. A thread writes
it: on a busy disk each file takes long, and the event loop of many benches would wait for all of them.
"""

import asyncio
import contextlib
import json
import logging
import threading
import zlib
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import Any

LOG = logging.getLogger(__name__)


EVERY_S = 120.0
"""Time between two writings of the same boot, real seconds: those of many benches cost more than commits. The second
comes the sooner, at a moment of each bench's own: those of a thousand that greeted together held up their readings."""
Make = Callable[[], dict[str, Any] | None]
"""Returns what is to be written, None where nothing is known."""

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
        self._early_s = EVERY_S * (zlib.crc32(bench.encode()) >> 16) / (1 << 16)
        self._told = False
        self._boot: int | None = None
        self._written_s = float("-inf")
        self._latest: Make | None = None
        self._newest = 0
        self._lock = threading.Lock()

    def read(self) -> dict[str, Any] | None:
        """Return what was written last, None where there is nothing or it is damaged."""
        try:
            document = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return document if isinstance(document, dict) else None

    def forget(self) -> None:
        """Have the device send all that it keeps: what is known of its clock does not hold for a clock set anew."""
        self._latest = None
        with self._lock, contextlib.suppress(OSError):
            self._newest += 1
            self._path.unlink(missing_ok=True)

    def keep(self, boot: int, make: Make) -> None:
        """Take note of how far a boot is stored now, and write it where that is due."""
        self._latest = make
        if boot != self._boot or monotonic() - self._written_s >= EVERY_S:
            self._written_s = monotonic() - (self._early_s if boot != self._boot else 0.0)
            self._boot = boot
            if (document := self._taken()) is not None:
                self._newest += 1
                asyncio.get_running_loop().run_in_executor(None, self._write, document, self._newest)

    def close(self) -> None:
        """Write what was noted last."""
        if (document := self._taken()) is not None:
            self._newest += 1
            self._write(document, self._newest)

    def _taken(self) -> dict[str, Any] | None:
        make, self._latest = self._latest, None
        return None if make is None else make()

    def _write(self, document: dict[str, Any], number: int) -> None:
        """Replace it whole, unless something newer is to be written; a disk that refuses is told once, and harmless."""
        with self._lock:
            if number == self._newest:
                self._replace(document)

    def _replace(self, document: dict[str, Any]) -> None:
        try:
            self._unfinished.write_text(json.dumps(document), encoding="utf-8")
            self._unfinished.replace(self._path)
            self._told = False
        except OSError as error:
            if not self._told:
                LOG.warning("cannot write %s: %s", self._path, error.strerror or error)
            self._told = True
