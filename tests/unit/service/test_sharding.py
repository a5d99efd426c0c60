"""Benches are shared out by their ids: each to one daemon, about as many to each, the same everywhere."""

from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path
from typing import cast

import pytest

from emberline.bench.bench_file import Broker
from emberline.config import BrokerAccess, ConfigError
from emberline.service import sharding
from emberline.service.clock import real_clock
from emberline.service.daemon import Daemon
from emberline.service.health import HealthWatch
from emberline.service.lane import BenchSetting
from emberline.service.sharding import Shard, Sharding, shard_named

ACCESS = BrokerAccess(Broker("localhost"), Path(), {})


def test_the_shard_of_a_bench_is_its_crc() -> None:
    """Source: the check value of CRC-32 for the digits 1 to 9 is cbf43926 (from memory)."""
    assert 0xCBF43926 % 1_000 == 262
    assert [number for number in range(1, 1_001) if Shard(number, 1_000).holds("123456789")] == [263]


def test_every_bench_is_in_exactly_one_shard_and_shards_are_about_even() -> None:
    shards = [Shard(number, 8) for number in range(1, 9)]
    held = [[f"bench-{n}" for n in range(8_000) if shard.holds(f"bench-{n}")] for shard in shards]
    assert sum(map(len, held)) == len({bench for benches in held for bench in benches}) == 8_000
    # Five standard deviations of a draw by chance: sqrt(8000 * 1/8 * 7/8) = 29.6.
    assert all(abs(len(benches) - 1_000) < 148 for benches in held)


def test_a_shard_is_named_by_its_number_and_how_many_there_are() -> None:
    assert shard_named("2/8") == Shard(2, 8)
    assert str(shard_named("1/1")) == "1/1"


@pytest.mark.parametrize("text", ["", "2", "0/8", "9/8", "2/0", "-1/8", "2/8/3", "a/b", "1/1001", "2 / 8", "¹/8"])
def test_what_names_no_shard_is_refused(text: str) -> None:
    with pytest.raises(ConfigError, match="write it like 2/8"):
        shard_named(text)


def test_benches_that_were_recorded_before_are_known_without_a_broker(tmp_path: Path) -> None:
    for name in ("link-yard.json", "link-shed.json", "link-.json", "link-a b.json", "other.json"):
        (tmp_path / name).write_text("{}")
    known = [Sharding(Shard(number, 2), ACCESS).known(tmp_path) for number in (1, 2)]
    assert sorted(one.bench_id for part in known for one in part) == ["shed", "yard"]
    assert all(one.bench is None and one.places.broker is ACCESS for part in known for one in part)


def test_no_topic_makes_a_bench_of_another_name_than_benches_have() -> None:
    everything = Sharding(Shard(1, 1), ACCESS)
    assert everything.takes("yard")
    assert not any(map(everything.takes, ["", "../yard", "a/b", "+", "a" * 65]))


class Recorder:
    """Stands for a daemon: what it records, and what it warns of."""

    def __init__(self, *recorded: str) -> None:
        self.lanes: dict[str, None] = dict.fromkeys(recorded)
        self.health = HealthWatch(real_clock())

    async def add(self, settings: Sequence[BenchSetting]) -> list[str]:
        self.lanes |= dict.fromkeys(one.bench_id for one in settings)
        return [one.bench_id for one in settings]


@pytest.mark.parametrize(
    ("recorded", "heard", "records", "warned"),
    [
        ((), ("yard", "yard", "shed"), ["yard", "shed"], 0),
        (("yard", "shed"), ("porch", "yard"), ["yard", "shed", "porch"], 0),
        (("yard", "shed"), ("barn", "porch"), ["yard", "shed", "barn"], 1),
        # Two shards of before that are one now hold more than may be: what is recorded is, and nothing more is.
        (("a", "b", "c", "d", "e"), ("yard", "shed", "barn"), ["a", "b", "c", "d", "e"], 1),
        (("a", "b", "c", "d", "e"), ("a",), ["a", "b", "c", "d", "e"], 0),
    ],
)
async def test_as_many_benches_are_taken_up_as_there_is_room_for(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    recorded: Sequence[str],
    heard: Sequence[str],
    records: list[str],
    warned: int,
) -> None:
    class Watch:
        def __init__(self, *_: object) -> None:
            pass

        async def run(self, tell: Callable[[Sequence[str]], Awaitable[None]]) -> None:
            await tell(heard)

    monkeypatch.setattr(sharding, "HelloWatch", Watch)
    monkeypatch.setattr(sharding, "MOST_BENCHES", 3)
    daemon = Recorder(*recorded)
    await Sharding(Shard(1, 1), ACCESS).look_out(tmp_path, daemon.health.clock, cast(Daemon, daemon))
    assert list(daemon.lanes) == records
    assert daemon.health.warned == warned
