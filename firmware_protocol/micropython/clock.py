"""Microseconds since power-up, without end, from a counter that wraps."""


class Clock:
    """Counts on where the counter of the port wraps; read it at least once in each half of its period.

    `read` is `time.ticks_us` and `difference` is `time.ticks_diff`; `lock` is held while two threads might read it.
    """

    def __init__(self, read, difference, lock):
        self._read = read
        self._difference = difference
        self._lock = lock
        self._last = read()
        self._us = 0

    def us(self) -> int:
        """Return the microseconds since the clock was made."""
        with self._lock:
            now = self._read()
            self._us += self._difference(now, self._last)
            self._last = now
            return self._us
