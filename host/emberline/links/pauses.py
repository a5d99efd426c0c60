"""How long to wait before a link is tried again: longer after each failure, never without end, never in step."""

import random
from dataclasses import dataclass, field

FIRST_S = 0.5
FACTOR = 1.8
SERIAL_CAP_S = 15.0
_MOST_FACTORS = 32
"""1.8 to this power is far beyond any cap; the power itself stays small after a hundred thousand failures."""


@dataclass
class Pauses:
    """Growing pauses with full jitter between a tenth and the whole of each.

    Attributes:
        cap_s: Longest pause.
        chance: Where the jitter comes from.
        failures: Failures since the last success.
    """

    cap_s: float = SERIAL_CAP_S
    chance: random.Random = field(default_factory=random.Random)
    failures: int = 0

    def succeeded(self) -> None:
        """Begin again with short pauses."""
        self.failures = 0

    def next_s(self) -> float:
        """Count a failure and return how long to wait after it, seconds."""
        longest = min(self.cap_s, FIRST_S * FACTOR ** min(self.failures, _MOST_FACTORS))
        self.failures += 1
        return longest * self.chance.uniform(0.1, 1.0)
