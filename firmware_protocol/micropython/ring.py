"""What the device keeps of one stream until the host has stored it."""

from array import array

from wire_messages import (
    INT16,
    INT32,
    MAX_BODY_BYTES,
    MAX_SAMPLES,
    MAX_SPAN_US,
    OFFSET_UNIT_US,
    SAMPLES_OVERHEAD_BYTES,
    U32_MAX,
    samples,
)

_FORMS = {16: ("h", INT16, 2), 32: ("i", INT32, 4)}
"""By bits: the type of the array, the tag that it is sent with, bytes of an item."""


class Ring:
    """Samples of one stream of one boot, at most `capacity` of them; the oldest make room for the newest.

    Attributes:
        first: Sequence number of the oldest sample kept.
        taken: Number of samples taken, and the next sequence number.
        acknowledged: Sequence number that the host wants next.
        cursor: Sequence number to be sent next.
        sent: Sequence number after the last that was ever sent.
        overwritten: Samples that made room before they were acknowledged.
        patient_us: Since when it has waited for an acknowledgement.

    """

    def __init__(self, stream: int, bits: int, capacity: int):
        code, self._tag, self._size = _FORMS[bits]
        self._stream = stream
        self._capacity = capacity
        self._ticks = array("I", bytes(4 * capacity))
        self._raw = array(code, bytes(self._size * capacity))
        self._faults = bytearray(capacity)
        self.first = self.taken = self.acknowledged = self.cursor = self.sent = self.overwritten = 0
        self.patient_us = 0

    @property
    def waiting(self) -> int:
        """Samples kept and not acknowledged."""
        return self.taken - self.first

    @property
    def next_ticks(self) -> int:
        """Ticks of the sample at the cursor; there must be one."""
        return self._ticks[self.cursor % self._capacity]

    def put(self, ticks: int, raw: int, faults: int) -> None:
        """Keep a sample."""
        if self.waiting == self._capacity:
            self.first += 1
            self.cursor = max(self.cursor, self.first)
            self.overwritten += 1
        at = self.taken % self._capacity
        self._ticks[at] = ticks
        self._raw[at] = raw
        self._faults[at] = faults
        self.taken += 1

    def acknowledge(self, wanted: int, now_us: int) -> None:
        """Forget everything before `wanted`; a number beyond what was sent is not believed."""
        if self.acknowledged < wanted <= self.sent:
            self.acknowledged = wanted
            self.first = max(self.first, wanted)
            self.cursor = max(self.cursor, self.first)
            self.patient_us = now_us

    def rewind(self, wanted: int, now_us: int) -> None:
        """Send again from `wanted`, or from the oldest sample kept."""
        self.cursor = min(self.cursor, max(wanted, self.first))
        self.patient_us = now_us

    def is_overdue(self, now_us: int, after_us: int) -> bool:
        """Say whether what was sent has waited longer than `after_us` for any acknowledgement."""
        if self.first >= self.cursor:
            self.patient_us = now_us
        return now_us - self.patient_us >= after_us

    def message(self, boot: int, stop: int, room: int) -> bytes:
        """Return a message of the samples from the cursor on, before `stop`, as many as fit a frame, and move on.

        Nothing is returned, and the cursor stays, where that message might take more than `room` bytes.
        """
        most = min(stop - self.cursor, MAX_SAMPLES, (MAX_BODY_BYTES - SAMPLES_OVERHEAD_BYTES) // (self._size + 3))
        if SAMPLES_OVERHEAD_BYTES + most * (self._size + 3) > room:
            return b""
        start = self.next_ticks
        offsets, values, faults = array("H"), array("h" if self._size == 2 else "i"), bytearray()
        for seq in range(self.cursor, self.cursor + most):
            at = seq % self._capacity
            after_us = (self._ticks[at] - start) & U32_MAX
            if after_us > MAX_SPAN_US - OFFSET_UNIT_US:
                break
            offsets.append((after_us + OFFSET_UNIT_US // 2) // OFFSET_UNIT_US)
            values.append(self._raw[at])
            faults.append(self._faults[at])
        first = self.cursor
        self.cursor += len(values)
        self.sent = max(self.sent, self.cursor)
        return samples(
            boot,
            self._stream,
            first,
            start,
            bytes(offsets),
            None,
            self._tag,
            bytes(values),
            self.first,
            bytes(faults) if any(faults) else None,
        )
