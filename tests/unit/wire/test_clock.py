"""From a device's counter to host time: wrap, drift, jitter, outliers, steps, and what is stored."""

import json
import random
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline_wire.clock import STEP_NS, DeviceClock
from emberline_wire.errors import BadStateError, ClockNotReadyError

T0_NS = 1_795_000_000_000_000_000
HOUR_S = 3600.0


@dataclass
class Bench:
    """A true time, a device clock that drifts and wraps, and a host that pings with random delays."""

    drift_ppm: float
    ticks0: int
    seed: int = 1
    delay_s: float = 0.004
    clock: DeviceClock = field(default_factory=DeviceClock)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)

    def ticks(self, t_s: float) -> int:
        return self.ticks0 + int(t_s * (1e6 + self.drift_ppm))

    def ns(self, t_s: float) -> int:
        return T0_NS + round(t_s * 1e9)

    def pong(self, t_s: float, extra_s: float = 0.0) -> None:
        there_s, back_s = self.rng.exponential(self.delay_s, 2) + 0.001
        self.clock.pong(self.ticks(t_s) % 2**32, self.ns(t_s - there_s), self.ns(t_s + back_s + extra_s))

    def given_ns(self, t_s: float, span_s: float = 0.0, late_s: float = 0.02) -> NDArray[np.int64]:
        """Times of samples taken at `t_s` and for `span_s` after, that arrive a little later."""
        first = self.clock.unwrap(self.ticks(t_s) % 2**32, self.ns(t_s + span_s + late_s))
        steps = np.arange(0, int(span_s * 1e6) + 1, 100_000, dtype=np.int64)
        return self.clock.times_ns(first + steps)


@pytest.mark.parametrize("drift_ppm", [-200.0, -40.0, 0.0, 200.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_with_drift_and_a_wrap_times_stay_within_the_stated_error(drift_ppm: float, seed: int) -> None:
    bench = Bench(drift_ppm, 2**32 - 10_000_000, seed)
    misses, last_ns = [], 0
    for second in range(1, 2400):
        if second < 10 or second % 5 == 0:
            bench.pong(second - 0.3)
        t_ns = bench.given_ns(second - 1.0, 0.9)
        assert t_ns[0] >= last_ns
        assert np.all(np.diff(t_ns) > 0)
        last_ns = int(t_ns[-1])
        true_ns = bench.ns(second - 0.1)
        u_ns = bench.clock.u_ns(bench.clock.unwrap(bench.ticks(second - 0.1) % 2**32, true_ns))
        misses.append((t_ns[-1] - true_ns) / u_ns)
    assert np.mean(np.abs(misses) < 2.0) > 0.95
    assert np.max(np.abs(misses)) < 4.0
    assert u_ns < 5e6
    assert bench.clock.drift_ppm == pytest.approx(-drift_ppm, abs=5.0)


def test_jitter_of_arrivals_does_not_reach_the_spacing_of_samples() -> None:
    bench = Bench(120.0, 0, delay_s=0.05)
    spacing: list[int] = []
    for second in range(1, 300):
        bench.pong(second - 0.3)
        spacing += np.diff(bench.given_ns(second - 1.0, 0.9)).tolist()
    # Each of the two times is the nearest step's.
    assert np.abs(np.array(spacing[500:]) - 1e8).max() < 1e8 * 600e-6 + STEP_NS


@pytest.mark.parametrize("silent_s", [60.0, HOUR_S, 2 * HOUR_S, 5 * HOUR_S])
def test_wraps_while_nobody_listens_are_counted_by_the_arrival(silent_s: float) -> None:
    bench = Bench(200.0, 0)
    for second in range(1, 60):
        bench.pong(second)
    before_ns = int(bench.given_ns(59.0)[0])
    t_s = 60.0 + silent_s
    bench.pong(t_s)
    after_ns = int(bench.given_ns(t_s)[0])
    assert (after_ns - before_ns) * 1e-9 == pytest.approx(t_s - 59.0, abs=0.02)


def test_a_sample_from_just_before_the_wrap_that_comes_after_it_lies_before_it() -> None:
    bench = Bench(0.0, 2**32 - 5_000_000)
    bench.pong(6.0)
    assert (bench.given_ns(4.0)[0] - bench.ns(4.0)) * 1e-9 == pytest.approx(0.0, abs=0.02)


def test_before_a_pong_the_earliest_arrivals_count_and_late_ones_do_not() -> None:
    bench = Bench(0.0, 500)
    for second, late_s in enumerate([0.4, 0.02, 0.5, 3.0, 0.1]):
        bench.clock.arrival(bench.ticks(second) % 2**32, bench.ns(second + late_s))
    assert bench.clock.ready
    assert not bench.clock.synchronised
    assert (bench.given_ns(4.0)[0] - bench.ns(4.0)) * 1e-9 == pytest.approx(0.02, abs=0.001)
    assert bench.clock.u_ns(bench.ticks(4.0)) > 50e6


def test_a_pong_that_was_held_up_does_no_harm() -> None:
    bench = Bench(0.0, 0)
    for second in range(1, 60):
        bench.pong(second, extra_s=2.0 if second % 10 == 9 else 0.0)
    assert (bench.given_ns(59.5)[0] - bench.ns(59.5)) * 1e-9 == pytest.approx(0.0, abs=0.01)


def test_a_single_impossible_pong_is_an_outlier() -> None:
    bench = Bench(0.0, 0)
    for second in range(1, 30):
        bench.pong(second)
    bench.clock.pong(bench.ticks(35.0), bench.ns(30.0), bench.ns(30.001))
    assert bench.clock.rejected == 1
    assert (bench.given_ns(30.0)[0] - bench.ns(30.0)) * 1e-9 == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("step_s", [-24 * HOUR_S, -HOUR_S, 0.5, 1200.0])
def test_a_step_of_the_hosts_clock_is_recorded_and_taken_out(step_s: float) -> None:
    bench = Bench(50.0, 0)
    for second in range(1, 60):
        bench.pong(second)
    before_ns = int(bench.given_ns(59.0)[0])
    true_ns = bench.ns
    bench.ns = lambda t_s: true_ns(t_s) + round(step_s * 1e9)  # type: ignore[method-assign]
    for second in range(60, 80):
        bench.pong(second)
    assert bench.clock.steps == 1
    assert bench.clock.step_ns * 1e-9 == pytest.approx(step_s, abs=0.02)
    assert (int(bench.given_ns(79.0)[0]) - before_ns) * 1e-9 == pytest.approx(20.0, abs=0.02)


def test_restored_from_plain_data_it_gives_the_same_times() -> None:
    bench = Bench(80.0, 2**32 - 30_000_000)
    for second in range(1, 100):
        bench.pong(second)
        bench.given_ns(second - 1.0, 0.9)
    state = json.loads(json.dumps(bench.clock.state()))
    twin = DeviceClock.from_state(state)
    assert twin.state() == bench.clock.state()
    for late_s in (0.0, 40.0, 300.0):
        ticks = bench.ticks(100.0 + late_s) % 2**32
        now_ns = bench.ns(100.1 + late_s)
        ours, theirs = (c.times_ns(np.array([c.unwrap(ticks, now_ns)])) for c in (bench.clock, twin))
        assert ours == theirs


def test_a_time_once_given_stays() -> None:
    bench = Bench(200.0, 0, delay_s=0.03)
    bench.pong(0.5)
    first = bench.given_ns(0.0, 0.9)
    for second in range(1, 40):
        bench.pong(second)
        bench.given_ns(second, 0.9)
    np.testing.assert_array_equal(bench.given_ns(0.0, 0.9, late_s=40.0), first)


def test_no_time_before_any_comparison() -> None:
    clock = DeviceClock()
    with pytest.raises(ClockNotReadyError):
        clock.times_ns(np.array([0]))
    with pytest.raises(ClockNotReadyError):
        clock.u_ns(0)


@pytest.mark.parametrize("state", [{}, {"rejected": 0}, {"pongs": 3}])
def test_a_state_that_is_none_is_refused(state: dict[str, object]) -> None:
    with pytest.raises(BadStateError):
        DeviceClock.from_state(state)


def test_one_time_is_given_as_many_are() -> None:
    dice = random.Random(4)
    clock, ticks = DeviceClock(), 0
    for _ in range(300):
        ticks += dice.randrange(900_000, 1_200_000)
        t_ns = 10**18 + round(ticks * 1000.0 * (1.0 + 80e-6)) + dice.randrange(4_000_000)
        clock.pong(ticks & 0xFFFF_FFFF, t_ns - 2_000_000, t_ns + 2_000_000)
        clock.times_ns(np.array([ticks]))
    asked = sorted(dice.randrange(ticks + 10**7) for _ in range(2000))
    given = clock.times_ns(np.array(asked[:500]))
    assert not (given % STEP_NS).any()
    assert np.abs(given - clock._on_scale(np.array(asked[:500]))).max() <= STEP_NS // 2
    latest = [ticks + dice.randrange(10**7) for _ in range(20)]
    for some in (asked, sorted(latest)):
        assert clock._on_scale(np.array(some)).tolist() == [clock._one_on_scale(one) for one in some]
