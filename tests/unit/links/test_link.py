"""What every link has in common."""

import pytest

from emberline.links.arrivals import DeviceChannel, Greeting
from emberline.links.link import age_limits_s


def greeting(*periods_s: float, frame_s: float = 1.0) -> Greeting:
    channels = tuple(DeviceChannel(f"c{i}", "g", period, 1.0, 0) for i, period in enumerate(periods_s))
    return Greeting("dev", 1, "1.0", channels, frame_s, 8.0)


@pytest.mark.parametrize(
    ("heard", "limits"),
    [
        (greeting(0.1, 2.0, frame_s=0.25), (2.0, 10.0)),
        (greeting(0.1), (5.0, 20.0)),
        (greeting(3.0), (15.0, 60.0)),
        (None, (5.0, 20.0)),
    ],
)
def test_age_limits_follow_the_period_of_the_readings(heard: Greeting | None, limits: tuple[float, float]) -> None:
    assert age_limits_s(heard) == limits
