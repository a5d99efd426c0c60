import numpy as np
import pytest
from numpy.typing import NDArray

from emberline_sim.sampling import sample_times_s
from emberline_sim.specs import GapSpec


def times(
    rate_hz: float = 10.0, every: int = 1, gaps: tuple[GapSpec, ...] = (), channel: str = "mass"
) -> NDArray[np.float64]:
    return sample_times_s(600.0, rate_hz, every, gaps, channel, np.random.default_rng(5))


def test_times_increase_from_zero_at_a_rate_that_is_only_nominal() -> None:
    t_s = times()
    assert t_s[0] == 0.0
    steps = np.diff(t_s)
    assert steps.min() > 0.0
    assert steps.mean() == pytest.approx(0.1, rel=0.03)
    assert steps.mean() != pytest.approx(0.1, rel=1e-5)
    assert 0.001 < steps.std() < 0.01


def test_every_tenth_conversion_gives_one_a_second() -> None:
    assert np.diff(times(every=10)).mean() == pytest.approx(1.0, rel=0.03)


def test_gaps_are_empty_on_the_channels_that_they_name() -> None:
    def within(t_s: NDArray[np.float64]) -> bool:
        return bool(((t_s >= 100.0) & (t_s < 130.0)).any())

    named = (GapSpec(100.0, 130.0, ("mass",)),)
    assert not within(times(gaps=named))
    assert within(times(gaps=named, channel="water"))
    assert not within(times(gaps=(GapSpec(100.0, 130.0),), channel="water"))
