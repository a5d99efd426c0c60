"""What a microcontroller keeps of one stream until the host has stored it."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from emberline_wire import Samples
from emberline_wire.limits import MAX_BODY_BYTES, MAX_SAMPLES, MAX_SPAN_US, MIN_PERIOD_US, OFFSET_UNIT_US, U32_MAX

HEADER_BYTES = 56
"""Room for everything in a sample frame but its arrays, at the largest numbers."""


class Ring:
    """Samples of one stream of one boot, at most `capacity` of them; the oldest make room for the newest.

    Attributes:
        acknowledged: Sequence number that the host wants next.
        cursor: Sequence number to be sent next.
        ready: Sequence number at which sending stops until the next frame is due.
        overwritten: Samples that made room before they were acknowledged.
        transmitted: Samples sent at least once.
        resent: Samples sent again, each time counted.
        patient_since_s: Since when it has waited for an acknowledgement.

    """

    def __init__(self, stream: int, dtype: np.dtype[Any], capacity: int) -> None:
        self.stream = stream
        self.acknowledged = 0
        self.cursor = 0
        self.ready = 0
        self.overwritten = 0
        self.transmitted = 0
        self.resent = 0
        self.patient_since_s = 0.0
        self._dtype = dtype
        self._capacity = capacity
        self._high = 0
        self._first = 0
        self._ticks: list[int] = []
        self._raw: list[int] = []
        self._faults: list[int] = []

    @property
    def oldest(self) -> int:
        """Sequence number of the oldest sample kept, or of the next one if none is."""
        return self._first

    @property
    def taken(self) -> int:
        """Number of samples taken in this boot, and the next sequence number."""
        return self._first + len(self._raw)

    @property
    def waiting(self) -> int:
        """Samples kept and not acknowledged."""
        return self.taken - max(self.acknowledged, self._first)

    @property
    def next_ticks(self) -> int | None:
        """Time of the next sample to be sent, counted on beyond 32 bits; None if nothing is due."""
        due = self.cursor < min(self.ready, self.taken)
        return self._ticks[self.cursor - self._first] if due else None

    def put(self, ticks: int, raw: int, fault: int) -> None:
        """Keep a sample; `ticks` counts on beyond 32 bits."""
        self._ticks.append(ticks)
        self._raw.append(raw)
        self._faults.append(fault)
        excess = len(self._raw) - self._capacity
        if excess > 0:
            self.overwritten += excess
            self._drop(excess)

    def acknowledge(self, wanted: int, now_s: float) -> None:
        """Forget everything before `wanted`; a number beyond what was sent is not believed."""
        if self.acknowledged < wanted <= self._high:
            self.acknowledged = wanted
            self.patient_since_s = now_s
            self._drop(max(0, wanted - self._first))

    def rewind(self, wanted: int, now_s: float) -> None:
        """Send again from `wanted`, or from the oldest sample kept."""
        self.cursor = min(self.cursor, max(wanted, self._first))
        self.patient_since_s = now_s

    def is_overdue(self, now_s: float, after_s: float) -> bool:
        """Return whether what was sent has waited longer than `after_s` for any acknowledgement."""
        if self.acknowledged >= self.cursor:
            self.patient_since_s = now_s
        return now_s - self.patient_since_s >= after_s

    def tally(self) -> dict[str, int]:
        """Return the counts of this stream."""
        return {
            "stream": self.stream,
            "taken": self.taken,
            "last_seq": self.taken - 1,
            "transmitted": self.transmitted,
            "resent": self.resent,
            "acknowledged": self.acknowledged,
            "overwritten": self.overwritten,
        }

    def next_message(self, boot: int) -> Samples | None:
        """Return the next samples to be sent, as many as fit a frame, or None if nothing is due."""
        stop = min(self.ready, self.taken)
        if self.cursor >= stop:
            return None
        first, start = self.cursor, self.cursor - self._first
        ticks = np.array(self._ticks[start : start + min(MAX_SAMPLES, stop - first)], dtype=np.int64)
        after_us = ticks - ticks[0]
        faults = np.array(self._faults[start : start + len(ticks)], dtype=np.uint8)
        period_us = _even_period_us(after_us)
        each = self._dtype.itemsize + (2 if period_us is None else 0) + (1 if faults.any() else 0)
        count = min(len(ticks), (MAX_BODY_BYTES - HEADER_BYTES) // each)
        count = int(np.searchsorted(after_us[:count], MAX_SPAN_US - OFFSET_UNIT_US, side="right"))
        offsets = np.rint(after_us[:count] / OFFSET_UNIT_US).astype(np.uint16)
        return Samples(
            boot=boot,
            stream=self.stream,
            first_seq=first,
            ticks=int(ticks[0]) & U32_MAX,
            values=np.array(self._raw[start : start + count], dtype=self._dtype),
            oldest_seq=self._first,
            period_us=period_us,
            offsets=offsets if period_us is None else None,
            faults=faults[:count] if faults[:count].any() else None,
        )

    def sent(self, message: Samples) -> None:
        """Move on behind a message that is under way."""
        first, stop = message.first_seq, message.next_seq
        fresh = max(0, stop - max(first, self._high))
        self.transmitted += fresh
        self.resent += stop - first - fresh
        self._high = max(self._high, stop)
        self.cursor = stop

    def _drop(self, count: int) -> None:
        del self._ticks[:count], self._raw[:count], self._faults[:count]
        self._first += count
        self.cursor = max(self.cursor, self._first)


def _even_period_us(after_us: NDArray[np.int64]) -> int | None:
    """Return the constant period that gives each time as well as an offset would, or None."""
    if len(after_us) < 2:
        return None
    period_us = round(int(after_us[-1]) / (len(after_us) - 1))
    miss_us = np.abs(after_us - period_us * np.arange(len(after_us)))
    return period_us if period_us >= MIN_PERIOD_US and miss_us.max() <= OFFSET_UNIT_US // 2 else None
