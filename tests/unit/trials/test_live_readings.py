from dataclasses import replace

import numpy as np
import pytest

from emberline.bench.bench_file import parse_bench
from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.trials.live_readings import ColdJunctions, readings_of

FLAT = """
id = "yard"
[[channel]]
role = "flame"
[channel.thermocouple]
kind = "K"
flat_uv_k = 41.276
degrees_per_code = 0.25
"""


def batch(channel: str, raw: list[float], flags: list[int] | None = None) -> SampleBatch:
    n = len(raw)
    t_ns = np.arange(n, dtype=np.int64) * 10**9
    return SampleBatch("dev", 1, channel, 0, t_ns, np.array(raw), np.array(flags or [0] * n, dtype=np.uint8))


def test_raw_counts_become_readings_in_the_channels_unit() -> None:
    bench = parse_bench('[[channel]]\nrole = "mass"\n[channel.line]\nzero_counts = 100.0\ncounts_per_unit = 2.0\n')
    (found,) = readings_of(bench, [batch("mass", [300.0, 500.0, 700.0], [0, FLAG_FAULT, 0]), batch("else", [1.0])])
    assert found.channel.role == "mass"
    np.testing.assert_array_equal(found.value, [100.0, np.nan, 300.0])


def test_a_flat_converter_is_linearised_by_its_cold_junction() -> None:
    # 400 degrees by a constant 41.276 uV/K from 25 degrees are 15.479 mV; with the 1.000 mV of the cold junction 16.479
    # mV, at which type K stands at 402.0 degrees (NIST Monograph 175, table 9.3: 16.441 mV at 401, 16.483 at 402).
    cold = batch("flame.cold_junction", [25.0, 25.0])
    (found,) = readings_of(parse_bench(FLAT), [batch("flame", [1600.0, 1600.0]), cold])
    assert found.value == pytest.approx([401.9, 401.9], abs=0.15)


def test_without_its_cold_junction_a_flat_converter_says_nothing_and_stops_nothing() -> None:
    (found,) = readings_of(parse_bench(FLAT), [batch("flame", [1600.0])])
    assert np.isnan(found.value).all()


def test_a_commit_without_a_cold_junction_takes_the_newest_of_earlier_ones() -> None:
    # Once each value of such a probe was missing but for the one commit in four that brought its junction along.
    bench, junctions = parse_bench(FLAT), ColdJunctions()
    tip = batch("flame", [1600.0])
    assert [
        one.value.tolist() for one in readings_of(bench, [batch("flame.cold_junction", [9.0, 25.0])], junctions)
    ] == []
    for came in ([tip], [tip, batch("flame.cold_junction", [0.0], [FLAG_FAULT])], [tip]):
        (found,) = readings_of(bench, came, junctions)
        assert np.isfinite(found.value).all()
    later = replace(tip, t_ns=tip.t_ns + 10**10)
    (found,) = readings_of(bench, [later], junctions)
    assert found.value == pytest.approx([401.9], abs=0.15)
