"""Messages that could not be read, kept beside the store for whoever wants to know what they were.

They are acknowledged, since the broker would give them again for ever. The file stays small: after that they are only
counted.
"""

import base64
import json
import logging
from pathlib import Path

LOG = logging.getLogger(__name__)

MOST_BYTES = 1_000_000


class UnreadFile:
    """The unread messages of one bench, one JSON object a line: time, topic, reason, and the payload in base64."""

    def __init__(self, folder: Path, bench: str) -> None:
        """Use the file of a bench in a data folder; it is made with the first such message."""
        self.path = folder / f"unread-{bench}.jsonl"
        self._begun = self._told = False

    def keep(self, now_ns: int, topic: str, payload: bytes, why: str) -> None:
        """Keep a message while there is room; a disk that refuses does no harm."""
        row = {"time_ns": now_ns, "topic": topic, "why": why, "payload": base64.b64encode(payload).decode()}
        line = json.dumps(row, ensure_ascii=False) + "\n"
        try:
            if (self.path.stat().st_size if self.path.exists() else 0) + len(line) > MOST_BYTES:
                self._tell("%s is full: further messages that cannot be read are only counted", self.path)
                return
            with self.path.open("a", encoding="utf-8") as file:
                file.write(line)
        except OSError as error:
            self._tell("cannot write %s: %s", self.path, error.strerror or error)
        else:
            if not self._begun:
                self._begun = True
                LOG.warning("a message could not be read (%s); it is kept in %s", why, self.path)

    def _tell(self, words: str, *arguments: object) -> None:
        if not self._told:
            LOG.warning(words, *arguments)
        self._told = True
