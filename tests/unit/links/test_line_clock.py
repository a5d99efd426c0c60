"""The time that a sketch prints, on the host's clock."""

import numpy as np
import pytest

from emberline.bench.text_lines import TimeUnit
from emberline.links.line_clock import LineClock

SECOND_NS = 1_000_000_000
NOON_NS = 1_790_000_000 * SECOND_NS
WRAP = 1 << 32


def stamps(clock: LineClock, times: list[float], arrived_s: list[float]) -> list[tuple[float, float] | None]:
    """Return for each line its time after noon and the time since the one before, seconds."""
    found = [clock.stamp(time, NOON_NS + round(at * 1e9)) for time, at in zip(times, arrived_s, strict=True)]
    return [None if one is None else ((one[0] - NOON_NS) * 1e-9, one[1] * 1e-6) for one in found]


@pytest.mark.parametrize(
    ("unit", "per_s"), [(TimeUnit.MILLISECONDS, 1e3), (TimeUnit.MICROSECONDS, 1e6), (TimeUnit.SECONDS, 1.0)]
)
def test_jitter_of_arrival_is_taken_out_and_the_pace_is_the_device_s(unit: TimeUnit, per_s: float) -> None:
    dice = np.random.default_rng(4)
    true_s = np.arange(400) * 0.5
    arrived_s = true_s + 0.01 + dice.exponential(0.05, 400)
    found = stamps(LineClock(unit), [(5.0 + t) * per_s for t in true_s], arrived_s.tolist())
    given_s = np.array([one[0] for one in found if one is not None])
    assert len(given_s) == 400
    assert np.all(np.diff(given_s) > 0.0)
    off_s = np.abs(given_s - true_s)
    # All begin as late as the first one came, and that is blended out.
    assert off_s.max() <= arrived_s[0] + 0.01
    assert off_s[-1] < 0.6 * off_s[0]
    assert np.diff(given_s) == pytest.approx(0.5, abs=0.001)


@pytest.mark.parametrize(("unit", "counts_per_s"), [(TimeUnit.MILLISECONDS, 1_000), (TimeUnit.MICROSECONDS, 1_000_000)])
def test_a_counter_that_begins_anew_after_32_bits_goes_on(unit: TimeUnit, counts_per_s: int) -> None:
    arrived_s = [float(k) for k in range(60)]
    counts = [float((WRAP - 30 * counts_per_s + k * counts_per_s) % WRAP) for k in range(60)]
    found = stamps(LineClock(unit), counts, arrived_s)
    assert [None if one is None else round(one[1]) for one in found] == [0] + [1] * 59


def test_a_clock_that_has_run_for_weeks_is_as_good_as_a_fresh_one() -> None:
    found = stamps(
        LineClock(TimeUnit.MILLISECONDS), [3e9 + 1000.0 * k for k in range(20)], [float(k) for k in range(20)]
    )
    assert all(one is not None and abs(one[0] - k) < 0.01 for k, one in enumerate(found))


def test_a_time_ahead_of_its_arrival_or_behind_the_line_before_does_not_fit() -> None:
    clock = LineClock(TimeUnit.MILLISECONDS)
    assert None not in stamps(clock, [1000.0 * k for k in range(10)], [float(k) for k in range(10)])
    assert stamps(clock, [110_000.0, 500.0, float("nan"), -5.0, 1e30], [10.0, 10.0, 10.0, 10.0, 10.0]) == [None] * 5
    assert None not in stamps(clock, [11_000.0], [11.0])


def test_lines_that_waited_on_the_way_fit_when_they_come_late() -> None:
    clock = LineClock(TimeUnit.MILLISECONDS)
    times = [1000.0 * k for k in range(60)]
    arrived_s = [float(k) if k < 20 else max(50.0, float(k)) for k in range(60)]
    found = stamps(clock, times, arrived_s)
    assert all(one is not None and abs(one[0] - k) < 0.3 for k, one in enumerate(found))


@pytest.mark.parametrize("ppm", [-5_000.0, 5_000.0])
def test_a_ceramic_resonator_is_followed(ppm: float) -> None:
    """Resonators of such boards keep half a per cent (common practice, no source)."""
    true_s = [float(k) for k in range(1800)]
    found = stamps(LineClock(TimeUnit.MILLISECONDS), [1000.0 * t * (1.0 + ppm * 1e-6) for t in true_s], true_s)
    assert None not in found
    off = np.array([one[0] for one in found if one is not None]) - true_s
    assert np.abs(off).max() < 1.0
    # A correction is blended in at no more than five parts in ten thousand, so that durations stay true.
    assert np.abs(np.diff(off[600:])).max() < 6e-4
    assert abs(off[-1]) < abs(off[600])
