from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from emberline.bench.channels import Channel, Role, default_channel
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.sensor_stuck import STUCK_S, SensorStuck
from unit.trials.alarms.looked_at import level, look

CHANNELS = {role: default_channel(role) for role in (Role.FLAME, Role.MASS)}
LOAD = level((900, 700.0))
FLICKER = [float(v) for v in 500.0 + np.random.default_rng(3).normal(0.0, 20.0, 900)]
STILL = [500.0] * 900


def told(
    flame: list[float], mass: list[float], flame_s: float | None = 10.0, channels: Mapping[Role, Channel] = CHANNELS
) -> Verdict:
    return SensorStuck().look(look({Role.FLAME: flame, Role.MASS: mass}, channels=channels, flame_s=flame_s))


def test_a_probe_that_shows_the_same_in_a_flame_is_told() -> None:
    verdict = told(STILL, LOAD)
    assert isinstance(verdict, Danger)
    assert verdict.text.startswith("flame: the same reading for 5 min")
    assert isinstance(told(FLICKER, LOAD), Safe)


def test_two_of_them_are_more_than_one() -> None:
    verdict = told(STILL, [650.0] * 900)
    assert isinstance(verdict, Danger)
    assert verdict.rank == 2
    assert "flame and mass" in verdict.text


def test_without_a_flame_things_may_stand_still() -> None:
    assert isinstance(told(STILL, [650.0] * 900, flame_s=None), Safe)
    assert isinstance(told(STILL, LOAD, flame_s=900.0 - STUCK_S + 1.0), Safe)


def test_a_coarse_scale_may_show_the_same_for_long() -> None:
    coarse = {**CHANNELS, Role.MASS: replace(CHANNELS[Role.MASS], resolution=5.0)}
    assert isinstance(told(FLICKER, [650.0] * 900, channels=coarse), Safe)


def test_where_readings_are_missing_nobody_can_tell() -> None:
    assert told([float("nan")] * 900, LOAD) is None
