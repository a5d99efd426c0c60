import random
from dataclasses import replace
from itertools import pairwise

import numpy as np

from emberline.bench.calibration import Linear, ThermocoupleCode
from emberline.bench.channels import Role, default_channel
from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.store.curves import calibrated, curves_of
from unit.store.made_up import NOON_NS, SECOND_NS, TENTH_NS, batch

CHANNELS = {role: default_channel(role) for role in (Role.MASS, Role.WATER)}


def cut(one: SampleBatch, first: int, after: int) -> SampleBatch:
    part = slice(first - one.first_seq, after - one.first_seq)
    return replace(one, first_seq=first, t_ns=one.t_ns[part], raw=one.raw[part], flags=one.flags[part])


def test_a_curve_in_seconds_from_the_start() -> None:
    curves = curves_of([batch(0, 20), batch(0, 5, channel="nobody")], CHANNELS, NOON_NS)
    assert list(curves) == [Role.MASS]
    assert np.array_equal(curves[Role.MASS].t_s, np.arange(20) / 10)
    assert np.array_equal(curves[Role.MASS].value, batch(0, 20).raw)


def test_the_curve_is_the_same_in_any_order_and_size_of_batches() -> None:
    whole = batch(0, 400)
    # Times that several samples share, with values whose sum depends on its order.
    whole = replace(whole, t_ns=NOON_NS + (np.arange(400) // 3) * SECOND_NS, raw=np.sin(np.arange(400)) * 1e3)
    expected = curves_of([whole], CHANNELS, NOON_NS)[Role.MASS]
    for seed in range(5):
        rng = random.Random(seed)
        edges = [0, *sorted(rng.sample(range(1, 400), 30)), 400]
        pieces = [cut(whole, first, after) for first, after in pairwise(edges)]
        rng.shuffle(pieces)
        got = curves_of(pieces, CHANNELS, NOON_NS)[Role.MASS]
        assert got.t_s.tobytes() == expected.t_s.tobytes()
        assert got.value.tobytes() == expected.value.tobytes()
    assert (np.diff(expected.t_s) > 0).all()


def test_samples_of_one_time_become_their_mean_and_faults_give_way() -> None:
    t_ns = np.array([NOON_NS, NOON_NS, NOON_NS, NOON_NS + TENTH_NS])
    one = SampleBatch("d", 0, "mass", 0, t_ns, np.array([1.0, 2.0, 9.0, 5.0]), np.array([0, 0, 1, 1], dtype=np.uint8))
    curve = curves_of([one], CHANNELS, NOON_NS)[Role.MASS]
    assert curve.value[0] == 1.5
    assert np.isnan(curve.value[1])


def test_calibration_is_applied_and_faults_become_nan() -> None:
    channels = {Role.MASS: replace(default_channel(Role.MASS), calibration=Linear(100.0, 2.0))}
    one = SampleBatch(
        "d", 0, "mass", 0, np.array([5, 6]), np.array([300.0, 302.0]), np.array([0, FLAG_FAULT], dtype=np.uint8)
    )
    t_ns, value = calibrated([one], channels)[Role.MASS]
    assert t_ns.tolist() == [5, 6]
    assert value[0] == 100.0
    assert np.isnan(value[1])


def test_a_converter_of_one_slope_is_linearised_with_its_cold_junction_in_any_order() -> None:
    # Once only a live run looked for the junction: the final pass of such a bench failed, again and again.
    channels = {Role.WATER: replace(default_channel(Role.WATER), calibration=ThermocoupleCode("K", 0.25, 41.276))}
    seconds = np.arange(6) * SECOND_NS
    water = SampleBatch("d", 0, "water", 0, seconds, np.full(6, 400.0), np.zeros(6, dtype=np.uint8))
    cold_c, bad = np.array([20.0, 20.5, 900.0, 21.5, 22.0, 22.5]), np.array([0, 0, FLAG_FAULT, 0, 0, 0], dtype=np.uint8)
    junction = SampleBatch("d", 0, "water.cold_junction", 0, seconds, cold_c, bad)
    known_c = np.array([20.0, 20.5, 21.0, 21.5, 22.0, 22.5])
    expected = channels[Role.WATER].calibration.apply(water.raw, known_c)
    for batches in ([water, junction], [cut(junction, 3, 6), cut(water, 2, 6), cut(junction, 0, 3), cut(water, 0, 2)]):
        assert np.array_equal(curves_of(batches, channels, 0)[Role.WATER].value, expected)


def test_no_samples_give_no_curves() -> None:
    assert curves_of([], CHANNELS, 0) == {}
