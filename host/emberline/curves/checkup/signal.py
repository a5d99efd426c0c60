"""Some seconds of one channel as it came, and what can be measured of them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from emberline.curves.robust import white_noise_sd

Array = NDArray[np.float64]

FEWEST = 8
"""Readings from which noise and drift can be told."""


class Nature(StrEnum):
    """What a channel's sensor is, as far as its faults go."""

    THERMOCOUPLE = "thermocouple"
    BRIDGE = "load cell"
    OTHER = "other sensor"


class Fault(StrEnum):
    """Why a reading has no value."""

    OPEN = "open"
    SHORT_LOW = "short to ground"
    SHORT_HIGH = "short to the supply"
    SATURATED = "saturated"
    NO_ANSWER = "no answer"
    COLD_JUNCTION = "cold junction"
    UNKNOWN = "a word instead of a number"


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """Readings of one channel.

    Attributes:
        name: Name on the device, or number of the column.
        nature: What its sensor is.
        t_s: (n,) times of the readings, increasing.
        raw: (n,) codes of the converter, or numbers as a sketch prints them; NaN for a fault.
        scale: Size of a step of the raw value, in the unit; NaN where it is not known.
        zero: Raw value that stands for 0.
        unit: `c`, `g`, `pa`, `ppm`; empty where nobody knows.
        coded: Whether raw values are codes as the converter gave them.
        faults: How many readings had which fault.
        cold_c: Temperature of the cold junction, where there is one.
    """

    name: str
    nature: Nature
    t_s: Array
    raw: Array
    scale: float = 1.0
    zero: float = 0.0
    unit: str = ""
    coded: bool = False
    faults: Mapping[Fault, int] = field(default_factory=dict)
    cold_c: float | None = None

    @property
    def good(self) -> Array:
        """Raw values of the readings without a fault."""
        return self.raw[np.isfinite(self.raw)]

    @property
    def value(self) -> Array:
        """(n,) values in the unit."""
        return (self.raw - self.zero) * self.scale


@dataclass(frozen=True, slots=True)
class Measured:
    """What can be measured of a signal, in steps of its raw value.

    Attributes:
        count: Readings.
        rate_hz: Readings a second; None below two.
        longest_s: Longest time between two readings; None below two.
        middle: Median; None without a good reading.
        noise: Standard deviation of what is white in it; None where there is too little.
        per_minute: Slope; None where there is too little.
        u_per_minute: Its standard uncertainty.
        faulty: Share of readings with a fault.
    """

    count: int
    rate_hz: float | None
    longest_s: float | None
    middle: float | None
    noise: float | None
    per_minute: float | None
    u_per_minute: float | None
    faulty: float


def measured(signal: Signal) -> Measured:
    """Measure a signal."""
    count = len(signal.t_s)
    span_s = float(signal.t_s[-1] - signal.t_s[0]) if count > 1 else 0.0
    known = np.isfinite(signal.raw)
    raw, t_s = signal.raw[known], signal.t_s[known]
    noise = slope = u_slope = None
    if len(raw) >= FEWEST and t_s[-1] > t_s[0]:
        noise = white_noise_sd(raw) or float(np.std(np.diff(raw, 2)) / 6.0**0.5)
        slope, u_slope = _slope(t_s / 60.0, raw)
    return Measured(
        count=count,
        rate_hz=(count - 1) / span_s if span_s > 0.0 else None,
        longest_s=float(np.max(np.diff(signal.t_s))) if count > 1 else None,
        middle=float(np.median(raw)) if len(raw) else None,
        noise=noise,
        per_minute=slope,
        u_per_minute=u_slope,
        faulty=1.0 - len(raw) / count if count else 0.0,
    )


def _slope(t: Array, raw: Array) -> tuple[float, float]:
    """Return the slope of a least-squares line and its standard uncertainty."""
    if np.ptp(raw) == 0.0:
        return 0.0, 0.0
    centre = t - t.mean()
    square = float(centre @ centre)
    slope = float(centre @ raw) / square
    rest = raw - raw.mean() - slope * centre
    return slope, float(np.sqrt(rest @ rest / max(1, len(raw) - 2) / square))
