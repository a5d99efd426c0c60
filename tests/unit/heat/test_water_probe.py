import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import UFloat

from emberline.bench.channels import Channel, Role, default_channel
from emberline.curves.grid import Column
from emberline.heat.water_probe import POT_LAG_S, STIRRED_K, WaterProbe, water_probe_of
from emberline.trials.reading import smooth_water

POT_ON_S, START_C, SLOPE_K_S, LAG_S = 200.0, 15.0, 0.1, 3.0
CHANNEL = Channel("water", Role.WATER, "c", u_bias=1.0, u_scale=0.004, time_constant_s=LAG_S, u_time_constant_s=1.0)


def read_by_a_lagging_probe(before_c: float, *, step_c: float = 0.0) -> NDArray[np.float64]:
    """A probe of 3 s that hangs in the air, then in water that warms by 0.1 K/s (exact first-order response)."""
    t = np.arange(1000, dtype=np.float64) + 0.5
    ramp = START_C + SLOPE_K_S * (t - POT_ON_S - LAG_S)
    off = before_c - START_C + SLOPE_K_S * LAG_S
    shown = np.where(t < POT_ON_S, before_c, ramp + off * np.exp(-np.maximum(t - POT_ON_S, 0.0) / LAG_S))
    return np.asarray(np.round(shown / step_c) * step_c if step_c else shown)


def probe(before_c: float = 18.5, *, step_c: float = 0.0) -> WaterProbe:
    return water_probe_of(read_by_a_lagging_probe(before_c, step_c=step_c), CHANNEL)


def parts(value: UFloat) -> dict[str, float]:
    return {str(variable.tag): by for variable, by in value.error_components().items() if by > 0.0}


@pytest.mark.parametrize("before_c", [12.0, 18.5, 21.0])
@pytest.mark.parametrize("step_c", [0.0, 0.25])
def test_the_start_is_the_waters_even_where_the_probe_hung_in_warm_air(before_c: float, step_c: float) -> None:
    start = probe(before_c, step_c=step_c).rising_from(POT_ON_S, 0.5)
    assert start is not None
    # The pot's metal warms first, for 3 ± 3 s: a ramp without such a lag is taken 0.3 K too warm, and its u says so.
    expected = START_C + SLOPE_K_S * POT_LAG_S
    assert start.nominal_value == pytest.approx(expected, abs=0.15 if step_c else 0.05)
    assert abs(start.nominal_value - START_C) < 1.5 * parts(start)["water_curve"]


def test_a_probe_that_may_have_waited_in_the_water_leaves_both_open() -> None:
    # Metal that takes 6 s to warm makes the ramp begin 6 s late.
    t = np.arange(1000, dtype=np.float64) + 0.5
    lag = LAG_S + 6.0
    since = np.maximum(t - POT_ON_S, 0.0)
    late = START_C + SLOPE_K_S * (since - lag * (1.0 - np.exp(-since / lag)))
    start = water_probe_of(late, CHANNEL).rising_from(POT_ON_S, 0.5)
    assert start is not None
    assert START_C - 0.3 < start.nominal_value < START_C
    assert abs(start.nominal_value - START_C) < 2.0 * parts(start)["water_curve"]


def test_the_end_of_a_ramp_is_ahead_of_what_the_probe_shows() -> None:
    end = probe().rising_to(700.0)
    assert end is not None
    value, slope_k_s = end
    assert slope_k_s == pytest.approx(SLOPE_K_S, rel=1e-3)
    assert value.nominal_value == pytest.approx(START_C + SLOPE_K_S * 500.0, abs=0.02)


def test_each_error_has_its_part() -> None:
    end = probe().rising_to(700.0)
    assert end is not None
    found = parts(end[0])
    assert found["water_probe"] == pytest.approx(1.0)
    assert found["water_probe_span"] == pytest.approx(0.004 * 65.0, rel=1e-3)
    assert found["water_probe_lag"] == pytest.approx(SLOPE_K_S * 1.0, rel=1e-3)
    assert found["water_curve"] == pytest.approx(STIRRED_K, rel=0.1)


def test_the_constant_error_cancels_in_a_rise_and_the_span_does_not() -> None:
    one = probe()
    start, end = one.rising_from(POT_ON_S, 0.0), one.rising_to(700.0)
    assert start is not None
    assert end is not None
    found = parts(end[0] - start)
    assert found.get("water_probe", 0.0) == pytest.approx(0.0, abs=1e-9)
    assert found["water_probe_span"] == pytest.approx(0.004 * 49.7, rel=5e-3)


def test_an_unsure_moment_counts_with_the_slope() -> None:
    one = probe()
    sure, unsure = one.rising_from(POT_ON_S, 0.0), one.rising_from(POT_ON_S, 5.0)
    assert sure is not None
    assert unsure is not None
    grown = parts(unsure)["water_curve"] ** 2 - parts(sure)["water_curve"] ** 2
    assert grown**0.5 == pytest.approx(5.0 * SLOPE_K_S, rel=0.05)


def test_a_plateau_is_its_median() -> None:
    level = np.full(400, 99.0)
    level[100] = 20.0
    plateau = water_probe_of(level, default_channel(Role.WATER)).level(50.0, 150.0)
    assert plateau is not None
    assert plateau.nominal_value == 99.0


def test_few_seconds_give_a_level_without_a_slope() -> None:
    few = np.full(400, np.nan)
    few[206:209] = 17.0
    start = water_probe_of(few, CHANNEL).rising_from(POT_ON_S, 0.0)
    assert start is None or start.nominal_value == pytest.approx(17.0)


def test_without_a_curve_nothing_is_known() -> None:
    blind = water_probe_of(np.full(400, np.nan), CHANNEL)
    assert blind.rising_from(POT_ON_S, 0.0) is None
    assert blind.rising_to(300.0) is None
    assert blind.level(100.0, 200.0) is None


def test_a_stretch_without_readings_is_told_as_long_as_it_was() -> None:
    def unread_s(*gap: int) -> tuple[float, float] | None:
        value = np.asarray(np.linspace(20.0, 60.0, 400), dtype=np.float64)
        value[slice(*gap)] = np.nan
        column = Column(np.arange(400.0) + 0.5, value, np.full(400, 0.1), np.isfinite(value).astype(np.int64))
        return water_probe_of(smooth_water(column, 400), CHANNEL).unread_s(50.0, 400.0)

    assert unread_s(100, 200) == (100.0, 200.0)
    assert unread_s(300, 400) == (300.0, 400.0)
    assert unread_s(0, 100) == (50.0, 100.0)
    # A short gap is bridged; without any reading, no gap is to blame.
    assert unread_s(100, 120) is None
    assert unread_s(0, 400) is None


def test_a_mean_by_weight_shares_the_probes_errors() -> None:
    weight = np.zeros(1000)
    weight[[300, 500]] = 1.0, 3.0
    mean, level = probe().mean_c(weight), probe().level(400.0, 401.0)
    assert mean is not None
    assert level is not None
    assert mean.nominal_value == pytest.approx(START_C + SLOPE_K_S * (450.5 - POT_ON_S - LAG_S), abs=0.01)
    assert parts(mean).keys() == parts(level).keys()
    assert probe().mean_c(np.zeros(1000)) is None
