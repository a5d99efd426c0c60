"""A thermocouple converter of the MAX31855 kind: 32 bits over SPI, thermocouple and cold junction."""

from wire_messages import NO_ANSWER, OPEN, SHORT_HIGH, SHORT_LOW

CONVERSION_US = 100_000
_FAULTS = ((1, OPEN), (2, SHORT_LOW), (4, SHORT_HIGH))


class Max31855:
    """One converter.

    Args:
        spi: The bus; `select` is its select pin, low while it is read.
        select: See `spi`.
        probe: Channel of the thermocouple, in quarters of a degree.
        junction: Channel of the cold junction, in sixteenths.

    """

    def __init__(self, spi, select, probe, junction):
        self._spi = spi
        self._select = select
        self._probe = probe
        self._junction = junction
        self._due_us = 0

    def poll(self, us: int) -> list:
        """Return the readings that are ready: channel, raw value, fault bits."""
        if us < self._due_us:
            return []
        self._due_us = us - us % CONVERSION_US + CONVERSION_US
        self._select.value(0)
        word = int.from_bytes(self._spi.read(4), "big")
        self._select.value(1)
        probe, junction, faults = word >> 18, word >> 4 & 0xFFF, 0
        if word in (0, 0xFFFFFFFF) or word & 0x20008:  # bits that are always 0
            return [(self._probe, 0, NO_ANSWER), (self._junction, 0, NO_ANSWER)]
        for bit, fault in _FAULTS:
            if word & bit:
                faults |= fault
        probe -= (probe & 0x2000) << 1
        junction -= (junction & 0x800) << 1
        return [(self._probe, probe, faults), (self._junction, junction, 0)]
