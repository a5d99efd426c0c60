"""Two steps of reading that take Python the longest, done by what `deploy/compile` has made, where it could.

Both answer None where nothing is compiled, and to bytes that are not as they are sent: then Python reads these, and it
alone judges. So the same comes of the same bytes either way, errors and all; only the pace differs.
"""

try:
    from emberline_wire._compiled import read_samples, unstuff
except ImportError:

    def unstuff(stuffed: bytes, /) -> bytes | None:
        """Return what was stuffed with COBS."""

    def read_samples(
        body: bytes, /
    ) -> list[tuple[int, int, int, int, int, int, int, bytes, bytes | None, bytes | None]] | None:
        """Return the fields of each message of samples, as `Samples.of_sound` takes them."""


__all__ = ["read_samples", "unstuff"]
