"""The short simulated burn as a daemon would have stored it, a second at a time; for tests of what follows it."""

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np

from emberline.bench.bench_file import Bench, default_bench
from emberline.bench.channels import Role
from emberline.bench.samples import SampleBatch
from emberline.service.following import Followings
from emberline.service.watch import Turn, Watch, changed
from emberline.store.store import Store
from emberline_sim.files import plan_text
from emberline_sim.recording import Recording, record
from emberline_sim.scenario import load_scenario
from live_fixture import short_burn

START_NS = 1_764_072_000_000_000_000
"""2025-11-25T12:00:00Z."""
SECOND_NS = 1_000_000_000
BENCH = "yard"


@cache
def recording(folder: str, duration_s: float = 780.0) -> Recording:
    """Simulate the burn; `folder` is where its scenario may be written."""
    path = f"{folder}/short_burn.toml"
    with open(path, "w", encoding="utf-8") as file:  # noqa: PTH123 a cache wants a hashable argument
        file.write(short_burn(duration_s))
    return record(load_scenario(path))


def bench(burn: Recording) -> Bench:
    """Return a bench of its channels."""
    return default_bench(Role(name) for name in burn.channels)


def plan(burn: Recording) -> str:
    """Return its plan file."""
    return plan_text(burn)


def seconds(burn: Recording, boot: int = 1, start_ns: int = START_NS) -> Iterator[list[SampleBatch]]:
    """Yield what each second of it brings."""
    at = dict.fromkeys(burn.channels, 0)
    for second in range(1, int(burn.scenario.duration_s) + 1):
        batches = []
        for name, channel in burn.channels.items():
            low, high = at[name], int(np.searchsorted(channel.t_s, float(second)))
            at[name] = high
            if high > low:
                t_ns = start_ns + np.rint(channel.t_s[low:high] * 1e9).astype(np.int64)
                flags = np.zeros(high - low, dtype=np.uint8)
                batches.append(SampleBatch("dev", boot, name, low, t_ns, channel.value[low:high], flags))
        yield batches


def fill(store: Store, burn: Recording, until_s: float = float("inf"), after_s: float = 0.0) -> None:
    """Commit the seconds of a burn between two moments, one commit each."""
    for second, batches in enumerate(seconds(burn), start=1):
        if after_s < second <= until_s and batches:
            store.commit(BENCH, batches)


class Followed:
    """What the process that follows all benches tells of one of them."""

    def __init__(self, store: Path, bench: str = BENCH) -> None:
        """Read from a store."""
        self.followings = Followings(store)
        self._bench = bench
        self._begun: list[Watch] = []
        self._last: Turn | None = None

    def begin(self, watch: Watch) -> None:
        """Follow a record."""
        self._begun, self._last = [watch], None

    def turn(self) -> Turn:
        """Follow it further."""
        found = self.followings.turns(self._begun, [self._bench])[self._bench]
        self._begun = []
        assert not isinstance(found, str), found
        self._last = changed(self._last, found)
        return self._last

    def turns(self) -> list[Turn]:
        """Follow it to the end of what is stored."""
        turns = [self.turn()]
        while turns[-1].more:
            turns.append(self.turn())
        return turns
