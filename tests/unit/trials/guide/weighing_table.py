"""A load cell on which things are put and from which they are taken: noise, slow flicker, gusts, drift, creep, span."""

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Channel, Role, default_channel
from emberline.trials.guide.level import LOOKED_AT_S, Level, level_of

HZ = 10
CREEP_S = 600.0
BEGIN_NS = 1_790_000_000_000_000_000


class Table:
    """The load cell and its clock; every second of it is simulated, the newest last."""

    def __init__(
        self,
        seed: int,
        *,
        noise_g: float = 0.1,
        wind_g: float = 0.0,
        drift_g_h: float = 1.0,
        creep: float = 2e-4,
        span: float = 1.0,
    ) -> None:
        self._rng = np.random.default_rng(seed)
        self._noise_g, self._wind_g, self._creep, self._span = noise_g, wind_g, creep, span
        self._drift_g_s = drift_g_h / 3600.0 * float(self._rng.choice((-1.0, 1.0)))
        self._load_g, self._crept_g, self._flicker, self._gust = 0.0, 0.0, 0.0, 0.0
        self._zero_g = float(self._rng.normal(0.0, 5.0))
        self._g: list[float] = []

    @property
    def now_ns(self) -> int:
        return BEGIN_NS + len(self._g) * 1_000_000_000 // HZ

    @property
    def load_g(self) -> float:
        """What truly stands there."""
        return self._load_g

    def put(self, mass_g: float, *, over_s: float = 1.5, then_s: float = 8.0) -> Level:
        """Put something on (or, negative, take it off) with an unsteady hand, wait, and look."""
        steps = max(int(over_s * HZ), 1)
        for _ in range(steps):
            self._load_g += mass_g / steps
            self._reading(push_g=float(self._rng.normal(0.0, 0.1 * abs(mass_g) + 2.0)))
        return self.wait(then_s)

    def wait(self, seconds: float) -> Level:
        for _ in range(int(seconds * HZ)):
            self._reading()
        return self.look()

    def until_steady(self) -> Level:
        """Wait as a person does who watches the display, half a minute at most."""
        for _ in range(30):
            if (level := self.wait(1.0)).steady:
                return level
        raise AssertionError("the level never came to rest")

    def look(self) -> Level:
        g: NDArray[np.float64] = np.array(self._g[-HZ * LOOKED_AT_S :])
        t_ns = self.now_ns - np.arange(len(g), 0, -1, dtype=np.int64) * (1_000_000_000 // HZ)
        level = level_of(t_ns, g)
        assert level is not None
        return level

    def _reading(self, push_g: float = 0.0) -> None:
        rng, dt_s = self._rng, 1.0 / HZ
        self._crept_g += (self._load_g - self._crept_g) * dt_s / CREEP_S
        self._flicker += -self._flicker * dt_s / 20.0 + rng.normal(0.0, 0.04 * (2.0 * dt_s / 20.0) ** 0.5)
        self._gust += -self._gust * dt_s / 2.0 + rng.normal(0.0, self._wind_g * (2.0 * dt_s / 2.0) ** 0.5)
        self._zero_g += self._drift_g_s * dt_s
        true_g = self._load_g * self._span + self._creep * self._crept_g + self._zero_g
        reading = true_g + self._flicker + self._gust + push_g + rng.normal(0.0, self._noise_g)
        if rng.random() < 0.0005:
            reading += float(rng.choice((-1.0, 1.0)) * rng.uniform(5.0, 800.0))
        self._g.append(round(reading / 0.0024) * 0.0024)


def cell() -> Channel:
    return default_channel(Role.MASS)
