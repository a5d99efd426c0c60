"""From bytes to lines, whatever ends them, with no more held than one line."""

from emberline.links.text_line import MAX_LINE_BYTES

ENDS = b"\r\n"


class LineSplitter:
    """Cuts bytes into lines that end with CR, LF or both.

    What comes before the first end may be the rest of a line that began unheard, and is then left out.
    """

    def __init__(self, *, begun: bool = True) -> None:
        """Begin in the middle of a line, or where one begins."""
        self._held = bytearray()
        self._skipping = begun

    @property
    def held(self) -> int:
        """Bytes held back, waiting for the end of their line."""
        return len(self._held)

    def begin(self) -> None:
        """Forget what is held, as after a broken link."""
        self._held.clear()
        self._skipping = True

    def feed(self, data: bytes) -> list[tuple[bytes, int]]:
        """Take in bytes and return the lines that they complete, each with how many bytes came after its end.

        A line that is too long comes at once, cut after `MAX_LINE_BYTES + 1` bytes; the rest of it is left out.
        """
        lines: list[tuple[bytes, int]] = []
        start = 0
        for at, byte in enumerate(data):
            if byte in ENDS:
                self._hold(data[start:at], len(data) - at - 1, lines)
                start = at + 1
                if self._held:
                    lines.append((bytes(self._held), len(data) - at - 1))
                    self._held.clear()
                self._skipping = False
        self._hold(data[start:], 0, lines)
        return lines

    def _hold(self, part: bytes, after: int, lines: list[tuple[bytes, int]]) -> None:
        if self._skipping:
            return
        self._held += part[: MAX_LINE_BYTES + 1 - len(self._held)]
        if len(self._held) > MAX_LINE_BYTES:
            lines.append((bytes(self._held), after))
            self._held.clear()
            self._skipping = True
