"""The newest stored readings of a bench's load cell and water probe, for who weighs on it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from emberline.bench.bench_file import Bench
from emberline.bench.channels import Role
from emberline.bench.samples import SampleBatch
from emberline.service.watch import SECOND_NS
from emberline.store.reader import StoreReader
from emberline.trials.guide.level import LOOKED_AT_S, UNREST_S, Level, level_of
from emberline.trials.live_readings import Readings, readings_of

MOST_MISSED_S = 60
"""Seconds that are looked at afterwards where nobody looked for longer."""
LEVEL_S = 2 * UNREST_S
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
        fresh: list[SampleBatch] = []
        for commit in self.store.commits(self.bench, since_ns, after=self._after):
            self._after = commit.id
            fresh += commit.batches
        self._batches = _joined([*self._batches, *fresh], since_ns)

    def levels(self, bench: Bench, since_ns: int) -> list[Level]:
        """Return what stood on the scale in each second after a moment, and what stands there now as the last.

        So it plays no part how often somebody looks: what stood there for some seconds meanwhile was seen.
        """
        found = self.readings(bench).get(Role.MASS)
        if found is None:
            return []
        newest_ns = int(found.t_ns[-1])
        missed = range(max(since_ns + SECOND_NS, newest_ns - MOST_MISSED_S * SECOND_NS), newest_ns, SECOND_NS)
        # Of what is past, only the level itself is asked for, which needs no minutes.
        ends = np.array(missed, dtype=np.int64)
        lows = np.searchsorted(found.t_ns, ends - LEVEL_S * SECOND_NS).tolist()
        highs = np.searchsorted(found.t_ns, ends, side="right").tolist()
        parts = [slice(low, high) for low, high in zip(lows, highs, strict=True)]
        levels = (level_of(found.t_ns[part], found.value[part]) for part in (*parts, slice(None)))
        return [level for level in levels if level is not None]

    def water_spread_c(self, bench: Bench) -> float:
        """Return how far the water probe moved within the last seconds."""
        found = self.readings(bench).get(Role.WATER)
        if found is None:
            return 0.0
        newest = found.value[found.t_ns >= found.t_ns[-1] - int(PROBE_S * 1e9)]
        newest = newest[np.isfinite(newest)]
        return float(np.ptp(newest)) if len(newest) else 0.0

    def readings(self, bench: Bench) -> Mapping[Role, Readings]:
        """Return the newest samples by role, calibrated as a bench says."""
        return {one.channel.role: one for one in readings_of(bench, self._batches)}

    def raw(self, channel: str) -> SampleBatch | None:
        """Return the newest samples of a channel as they came; None without any."""
        return next((one for one in self._batches if one.channel == channel), None)


def _joined(batches: Sequence[SampleBatch], since_ns: int) -> list[SampleBatch]:
    """Return what is newer than a moment as one batch a channel, in the order of time; numbers play no part."""
    parts: dict[str, list[SampleBatch]] = {}
    for one in batches:
        parts.setdefault(one.channel, []).append(one)
    found = []
    for run in parts.values():
        t_ns, raw, flags = (np.concatenate([getattr(one, name) for one in run]) for name in ("t_ns", "raw", "flags"))
        order = np.argsort(t_ns, kind="stable")
        order = order[t_ns[order] >= since_ns]
        if len(order):
            found.append(replace(run[0], t_ns=t_ns[order], raw=raw[order], flags=flags[order]))
    return found
