import numpy as np
import pytest

from emberline.bench.bench_file import default_bench
from emberline.bench.channels import Role
from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.service.scale_tail import ScaleTail
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS, TENTH_NS

BENCH = default_bench([Role.MASS, Role.WATER])


def batch(channel: str, first: int, values: list[float], flags: int = 0) -> SampleBatch:
    t_ns = NOON_NS + (first + np.arange(len(values), dtype=np.int64)) * TENTH_NS
    return SampleBatch("dev", 1, channel, first, t_ns, np.array(values), np.full(len(values), flags, np.uint8))


def test_the_level_is_that_of_the_newest_stored_readings(store: Store) -> None:
    tail = ScaleTail(store, "yard")
    tail.read(NOON_NS)
    assert tail.levels(BENCH, 0) == []
    store.commit("yard", [batch("mass", 0, [10.0] * 100)])
    tail.read(NOON_NS + 10 * SECOND_NS)
    level = tail.levels(BENCH, NOON_NS)[-1]
    assert level.steady
    assert level.mean_g == pytest.approx(10.0)
    store.commit("yard", [batch("mass", 100, [510.0] * 100)])
    tail.read(NOON_NS + 20 * SECOND_NS)
    level = tail.levels(BENCH, NOON_NS)[-1]
    assert level.mean_g == pytest.approx(510.0)


def test_what_comes_late_finds_its_place(store: Store) -> None:
    tail = ScaleTail(store, "yard")
    store.commit("yard", [batch("mass", 50, [20.0] * 50)])
    tail.read(NOON_NS + 10 * SECOND_NS)
    store.commit("yard", [batch("mass", 0, [20.0] * 50)])
    tail.read(NOON_NS + 10 * SECOND_NS)
    level = tail.levels(BENCH, NOON_NS)[-1]
    assert level.seconds == 10


def test_old_readings_are_let_go(store: Store) -> None:
    tail = ScaleTail(store, "yard")
    store.commit("yard", [batch("mass", 0, [20.0] * 50)])
    tail.read(NOON_NS + 10 * SECOND_NS)
    tail.read(NOON_NS + 1000 * SECOND_NS)
    assert tail.levels(BENCH, 0) == []


def test_a_probe_that_moves_is_told_and_one_that_is_broken_moves_nothing(store: Store) -> None:
    tail = ScaleTail(store, "yard")
    assert tail.water_spread_c(BENCH) == 0.0
    store.commit("yard", [batch("water", 0, [18.0] * 20 + [16.0] * 20)])
    tail.read(NOON_NS + 4 * SECOND_NS)
    assert tail.water_spread_c(BENCH) == pytest.approx(2.0)
    store.commit("yard", [batch("water", 40, [0.0] * 60, FLAG_FAULT)])
    tail.read(NOON_NS + 10 * SECOND_NS)
    assert tail.water_spread_c(BENCH) == 0.0


def test_what_stood_there_between_two_looks_is_seen(store: Store) -> None:
    tail = ScaleTail(store, "yard")
    store.commit("yard", [batch("mass", 0, [900.0] * 100 + [0.0] * 100 + [348.0] * 100)])
    tail.read(NOON_NS + 30 * SECOND_NS)
    levels = tail.levels(BENCH, NOON_NS + 5 * SECOND_NS)
    assert len(levels) in (24, 25)
    assert {round(one.mean_g) for one in levels if one.steady} == {900, 0, 348}
    assert [round(one.mean_g) for one in tail.levels(BENCH, levels[-1].at_ns)] == [348]


def test_counts_are_handed_out_as_they_came(store: Store) -> None:
    tail = ScaleTail(store, "yard")
    store.commit("yard", [batch("mass", 0, [84_000.0] * 50), batch("water", 0, [21.5] * 50)])
    tail.read(NOON_NS + 10 * SECOND_NS)
    raw = tail.raw("mass")
    assert raw is not None
    assert raw.raw.tolist() == [84_000.0] * 50
    assert tail.raw("flame") is None
    assert tail.readings(BENCH)[Role.WATER].value.tolist() == [21.5] * 50
