"""When a converter samples: an oscillator of its own that is only nominally right, jitter, gaps."""

import numpy as np
from numpy.typing import NDArray

from emberline_sim.specs import GapSpec

OSCILLATOR = 0.006
"""Relative standard deviation of a converter's oscillator from its nominal rate (common practice, no source)."""
JITTER = 0.03
"""Standard deviation of one sample's time in periods: the microcontroller polls when it can."""


def sample_times_s(
    duration_s: float, rate_hz: float, every: int, gaps: tuple[GapSpec, ...], channel: str, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n,) increasing sample times from 0 on, seconds of the device's clock.

    Args:
        duration_s: Length of the record.
        rate_hz: Nominal conversions per second.
        every: Only each n-th conversion is kept.
        gaps: Stretches without readings.
        channel: Name of the channel, for the gaps that name channels.
        rng: Source of chance.

    """
    period_s = 1.0 / rate_hz * (1.0 + OSCILLATOR * float(rng.normal()))
    ticks = np.arange(int(duration_s / period_s) + 1)[::every]
    jitter = np.clip(rng.normal(0.0, JITTER, len(ticks)), -0.3, 0.3)
    jitter[0] = 0.0
    t_s = (ticks + jitter) * period_s
    keep = t_s <= duration_s
    for gap in gaps:
        if not gap.channels or channel in gap.channels:
            keep &= ~((t_s >= gap.from_s) & (t_s < gap.to_s))
    return np.asarray(t_s[keep], dtype=np.float64)
