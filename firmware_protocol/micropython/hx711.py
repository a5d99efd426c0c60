"""A bridge converter of the HX711 kind: data goes low when a conversion is ready, and 25 clocks fetch it."""

from wire_messages import NO_ANSWER, SATURATED

MOST, LEAST = 0x7FFFFF, -0x800000
SILENT_AFTER_US = 1_000_000


class Hx711:
    """One converter with a load cell, on channel A at a gain of 128.

    Args:
        data: Input pin.
        clock: Output pin. High for 60 us, it would switch the converter off.
        pulse: Makes one clock pulse without being interrupted: called with the clock pin.
        channel: The channel that takes its readings.

    """

    def __init__(self, data, clock, pulse, channel):
        self._data = data
        self._clock = clock
        self._pulse = pulse
        self._channel = channel
        self._last_us = 0

    def poll(self, us: int) -> list:
        """Return the readings that are ready: channel, raw value, fault bits."""
        raw = None if self._data.value() else self._fetch()
        if raw is None:
            if us - self._last_us < SILENT_AFTER_US:
                return []
            self._last_us = us
            return [(self._channel, 0, NO_ANSWER)]
        self._last_us = us
        return [(self._channel, raw, SATURATED if raw in (MOST, LEAST) else 0)]

    def _fetch(self) -> int | None:
        """Return the code that is ready, or None if the line stays low afterwards: it touches ground."""
        raw = 0
        for _ in range(24):
            self._pulse(self._clock)
            raw = raw << 1 | self._data.value()
        self._pulse(self._clock)
        if not self._data.value():
            return None
        return raw - (1 << 24) if raw > MOST else raw
