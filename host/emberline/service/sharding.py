"""Benches shared out among daemons: by their ids alone, so that nobody has to keep a list."""

import logging
import re
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from emberline.bench.bench_file import is_bench_id
from emberline.config import BrokerAccess, ConfigError
from emberline.links.mqtt_hellos import HelloWatch
from emberline.service.clock import Clock
from emberline.service.daemon import Daemon
from emberline.service.lane import BenchSetting
from emberline.service.sources import Places, broker_name, session_name
from emberline.service.standing_file import benches_with_standing

LOG = logging.getLogger(__name__)

MOST_SHARDS = 1_000
MOST_BENCHES = 2_000
"""Benches that a daemon takes up by hearsay; each costs it a connection. More than one machine follows at once."""
_SHARD = re.compile(r"([0-9]{1,4})/([0-9]{1,4})")


@dataclass(frozen=True)
class Shard:
    """One of several equal shards of all benches there may be.

    Attributes:
        number: Which one, from 1.
        of: How many there are.
    """

    number: int
    of: int

    def holds(self, bench: str) -> bool:
        """Tell whether a bench belongs to it: by the CRC-32 of its id, as in zip files (ITU-T V.42, 8.1.1.6.2)."""
        return zlib.crc32(bench.encode()) % self.of == self.number - 1

    def __str__(self) -> str:
        return f"{self.number}/{self.of}"


def shard_named(text: str) -> Shard:
    """Return the shard that a person names, such as `2/8`.

    Raises:
        ConfigError: The text names none.
    """
    found = _SHARD.fullmatch(text)
    shard = Shard(int(found[1]), int(found[2])) if found else Shard(0, 0)
    if not 1 <= shard.number <= shard.of <= MOST_SHARDS:
        raise ConfigError(Path(text), f"{text!r} is no shard: write it like 2/8, the second of eight")
    return shard


@dataclass(frozen=True)
class Sharding:
    """How a daemon comes by the benches of its shard.

    Attributes:
        shard: Its shard.
        access: The way to the broker on which they are.
    """

    shard: Shard
    access: BrokerAccess

    def setting(self, bench: str) -> BenchSetting:
        """Return a bench that nobody has described: its channels are what its device says."""
        return BenchSetting(bench, Places(None, self.access))

    def known(self, folder: Path) -> list[BenchSetting]:
        """Return the benches of the shard that were recorded into a data folder before."""
        return [self.setting(bench) for bench in benches_with_standing(folder) if self.takes(bench)]

    def takes(self, bench: str) -> bool:
        """Tell whether a bench is one of this daemon's."""
        return is_bench_id(bench) and self.shard.holds(bench)

    async def look_out(self, folder: Path, clock: Clock, daemon: Daemon) -> None:
        """Have a daemon take up benches as they are heard of, until cancelled.

        Args:
            folder: Data folder.
            clock: The daemon's clock.
            daemon: The daemon.
        """

        async def heard(benches: Sequence[str]) -> None:
            fresh = [bench for bench in dict.fromkeys(benches) if self.takes(bench) and bench not in daemon.lanes]
            room = max(0, MOST_BENCHES - len(daemon.lanes))
            if len(fresh) > room:
                words = f"more than {MOST_BENCHES} benches are in shard {self.shard}: make more shards"
                daemon.health.warn("too many benches", words)
            if fresh[:room]:
                for bench in await daemon.add([self.setting(bench) for bench in fresh[:room]]):
                    LOG.info("bench %s is in shard %s: it is recorded from now on", bench, self.shard)

        # No bench is called so.
        name = session_name(broker_name(folder), "+")
        await HelloWatch(self.access, name, clock, partial(daemon.health.warn, "shards")).run(heard)
