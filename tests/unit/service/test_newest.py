"""The newest values of a bench; as a document they are tested with the board."""

import numpy as np
import pytest

from emberline.bench.channels import Role, default_channel
from emberline.links.arrivals import DeviceChannel, Greeting
from emberline.service.newest import Newest
from emberline.trials.live_readings import Readings

S = 1_000_000_000


def readings(role: Role, times_s: list[float], values: list[float]) -> Readings:
    return Readings(default_channel(role), np.array([round(t * S) for t in times_s], dtype=np.int64), np.array(values))


def greeting(mass_period_s: float, frame_period_s: float = 1.0) -> Greeting:
    channels = (DeviceChannel("mass", "g", mass_period_s, 1.0, 0), DeviceChannel("water", "c", 0.1, 1.0, 0))
    return Greeting("dev", 1, "1", channels, frame_period_s, 60.0)


def test_a_value_is_the_median_of_the_newest_second_without_what_is_none() -> None:
    newest = Newest(0.0)
    newest.take([readings(Role.MASS, [8.0, 9.0, 9.5, 10.0], [1.0, 5.0, float("nan"), 7.0])], None)
    assert newest.by_role[Role.MASS].value == 6.0
    newest.take([readings(Role.MASS, [11.0], [float("inf")])], None)
    assert (newest.by_role[Role.MASS].value, newest.by_role[Role.MASS].u) == (None, None)
    assert newest.t_ns(0) == 11 * S


@pytest.mark.parametrize(
    ("said", "slack_s", "stale_s"),
    [(None, 0.0, 5.0), (greeting(0.1), 0.0, 5.0), (greeting(0.1, 3.0), 0.0, 15.0), (greeting(4.0), 0.0, 20.0),
     (greeting(4.0), 30.0, 50.0)],
    ids=["nothing said", "usual", "slow frames", "slow channel", "a fast clock"],
)  # fmt: skip
def test_how_old_a_value_may_be_follows_from_what_the_device_said(
    said: Greeting | None, slack_s: float, stale_s: float
) -> None:
    newest = Newest(slack_s)
    newest.take([readings(Role.MASS, [10.0], [1.0])], said)
    value = newest.by_role[Role.MASS]
    assert value.until_ns - value.t_ns == round(stale_s * S)
    assert [value.stale(round((10.0 + stale_s + ago_s) * S)) for ago_s in (-0.01, 0.01)] == [False, True]
    assert [newest.silent(round((10.0 + stale_s + ago_s) * S)) for ago_s in (-0.01, 0.01)] == [[], [Role.MASS]]


def test_one_that_falls_silent_is_told_though_others_come() -> None:
    newest = Newest(0.0)
    assert newest.silent(99 * S) == []
    newest.take([readings(Role.MASS, [10.0], [1.0]), readings(Role.WATER, [10.0], [20.0])], None)
    newest.take([readings(Role.WATER, [18.0], [20.0])], None)
    assert newest.silent(18 * S) == [Role.MASS]
    newest.take([readings(Role.MASS, [18.0], [1.0])], None)
    assert newest.silent(18 * S) == []


def test_what_a_device_says_anew_holds_at_once() -> None:
    newest = Newest(0.0)
    assert newest.stale_s(greeting(0.1)) == 5.0
    assert newest.stale_s(greeting(0.1, 4.0)) == 20.0
    assert newest.stale_s(None) == 5.0
