"""The newest stored readings of a bench's load cell and water probe, for who weighs on it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from emberline.bench.bench_file import Bench
from emberline.bench.channels import Role
from emberline.bench.samples import SampleBatch
from emberline.service.watch import SECOND_NS
from emberline.store.reader import StoreReader
from emberline.trials.guide.level import LOOKED_AT_S, Level, level_of
from emberline.trials.live_readings import Readings, readings_of

MOST_MISSED_S = 60
"""Seconds that are looked at afterwards where nobody looked for longer."""
PROBE_S = 5.0
"""Seconds over which a probe's unrest is told."""


@dataclass
class ScaleTail:
    """The end of one bench's record, read from the store; a reading that is not stored yet is not weighed.

    Attributes:
        store: The store.
        bench: Id of the bench.
    """

    store: StoreReader
    bench: str
    _batches: list[SampleBatch] = field(default_factory=list)
    _after: int = 0

    def read(self, now_ns: int) -> None:
        """Take in what was stored since the last time; reads the store.

        Raises:
            StoreError: It cannot be read.
        """
        since_ns = now_ns - (LOOKED_AT_S + 10) * SECOND_NS
        for commit in self.store.commits(self.bench, since_ns, after=self._after):
            self._after = commit.id
            self._batches += commit.batches
        self._batches = [one for one in self._batches if int(one.t_ns[-1]) >= since_ns]

    def levels(self, bench: Bench, since_ns: int) -> list[Level]:
        """Return what stood on the scale in each second after a moment, and what stands there now as the last.

        So it plays no part how often somebody looks: what stood there for some seconds meanwhile was seen.
        """
        found = self._readings(bench).get(Role.MASS)
        if found is None:
            return []
        newest_ns = int(found.t_ns[-1])
        missed = range(max(since_ns + SECOND_NS, newest_ns - MOST_MISSED_S * SECOND_NS), newest_ns, SECOND_NS)
        ends = [int(np.searchsorted(found.t_ns, at_ns, side="right")) for at_ns in missed]
        levels = (level_of(found.t_ns[:end], found.value[:end]) for end in (*ends, len(found.t_ns)))
        return [level for level in levels if level is not None]

    def water_spread_c(self, bench: Bench) -> float:
        """Return how far the water probe moved within the last seconds."""
        found = self._readings(bench).get(Role.WATER)
        if found is None:
            return 0.0
        newest = found.value[found.t_ns >= found.t_ns[-1] - int(PROBE_S * 1e9)]
        newest = newest[np.isfinite(newest)]
        return float(np.ptp(newest)) if len(newest) else 0.0

    def _readings(self, bench: Bench) -> Mapping[Role, Readings]:
        """Return the readings of each channel as one run in the order of time."""
        parts: dict[Role, list[Readings]] = {}
        for one in readings_of(bench, self._batches):
            parts.setdefault(one.channel.role, []).append(one)
        return {role: _joined(run) for role, run in parts.items() if role in (Role.MASS, Role.WATER)}


def _joined(parts: list[Readings]) -> Readings:
    t_ns = np.concatenate([one.t_ns for one in parts])
    order = np.argsort(t_ns, kind="stable")
    return Readings(parts[0].channel, t_ns[order], np.concatenate([one.value for one in parts])[order])
