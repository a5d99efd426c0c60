import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.trials.alarms.alarm import Danger
from emberline.trials.alarms.look import Look
from emberline.trials.alarms.probe_out import ProbeOut
from unit.trials.alarms.looked_at import all_clear, dangers, level, look, pot, verdicts

Array = NDArray[np.float64]


def heated(n: int, top_c: float = 98.9, rate_k_s: float = 0.15, start_c: float = 18.0) -> Array:
    return np.asarray(np.minimum(start_c + rate_k_s * np.maximum(np.arange(n) - 100.0, 0.0), top_c))


def toward(curve: Array, from_s: int, to_s: int, air_c: float, lag_s: float) -> Array:
    """Let a first-order probe hang in surroundings of another temperature for a while, then return into the water."""
    shown = curve.copy()
    for t in range(from_s, len(curve)):
        around, lag = (air_c, lag_s) if t < to_s else (curve[t], 3.0)
        shown[t] = around + (shown[t - 1] - around) * np.exp(-1.0 / lag)
    return shown


def record(water_c: Array, mass_g: list[float] | None = None, **more: object) -> Look:
    mass_g = level((100, 700.0), (len(water_c) - 100, 1_600.0)) if mass_g is None else mass_g
    noise = np.random.default_rng(3).normal(0.0, 0.2, len(water_c))
    more.setdefault("stays", pot(100))
    return look({Role.WATER: (water_c + noise).tolist(), Role.MASS: mass_g}, **more)  # type: ignore[arg-type]


# A sheathed probe of 3 mm in air: time constants of some 20 to 60 s (cable makers' tables for flowing air: 34 s).
@pytest.mark.parametrize("lag_s", [10.0, 20.0, 34.0, 60.0])
@pytest.mark.parametrize("at_s", [480, 800], ids=["warming", "boiling"])
def test_a_probe_that_hangs_in_the_air_is_told_within_a_minute_and_its_return_clears_it(
    lag_s: float, at_s: int
) -> None:
    said = verdicts(ProbeOut(), record(toward(heated(1_200), at_s, at_s + 150, 30.0, lag_s)))
    (second,) = dangers(said)
    assert at_s < second <= at_s + 60
    clear = all_clear(said, second)
    assert clear is not None
    assert at_s + 150 < clear <= at_s + 190


def test_a_probe_near_the_flame_or_in_a_dry_pot_reads_more_than_water_can() -> None:
    said = verdicts(ProbeOut(), record(toward(heated(1_200), 800, 1_100, 160.0, 20.0)))
    (second,) = dangers(said)
    assert 800 < second <= 850
    assert isinstance(said[0][1], Danger)
    assert "more than water can have" in said[0][1].text


def test_cold_water_poured_in_is_seen_on_the_scale() -> None:
    water_c = heated(1_200)
    water_c[700:] = np.minimum(55.0 + 0.15 * np.arange(500), 98.9)
    mass_g = level((100, 700.0), (600, 1_600.0), (500, 2_000.0))
    assert dangers(verdicts(ProbeOut(), record(water_c, mass_g))) == []


def test_a_lid_that_is_set_on_or_taken_off_lets_the_water_fall_by_little() -> None:
    water_c = heated(1_200)
    water_c[800:] -= 4.0
    mass_g = level((100, 700.0), (700, 1_600.0), (400, 1_680.0))
    assert dangers(verdicts(ProbeOut(), record(water_c, mass_g))) == []


def test_a_pot_that_is_lifted_out_from_under_its_probe_is_not_told() -> None:
    water_c = toward(heated(1_200), 800, 1_200, 35.0, 20.0)
    mass_g = level((100, 700.0), (700, 1_600.0), (400, 700.0))
    assert dangers(verdicts(ProbeOut(), record(water_c, mass_g, stays=pot(100, 800)))) == []


def test_a_small_pot_that_cools_by_itself_is_not_told() -> None:
    # 150 g lose 150 W at most: 0.24 K/s at first, toward the air (order of magnitude; common practice, no source).
    water_c = heated(1_200)
    water_c[800:] = 25.0 + 74.0 * np.exp(-np.arange(400) / 310.0)
    assert dangers(verdicts(ProbeOut(), record(water_c))) == []


def test_where_no_scale_shows_that_the_pot_stands_nothing_can_be_said() -> None:
    water_c = toward(heated(1_200), 800, 950, 30.0, 20.0)
    one = look({Role.WATER: water_c.tolist()})
    assert dangers(verdicts(ProbeOut(), one)) == []


def test_the_way_of_the_probe_into_a_fresh_pot_is_not_told() -> None:
    water_c = np.full(700, 60.0)
    water_c[105:] = np.maximum(60.0 - 2.0 * np.arange(595), 17.0)
    assert dangers(verdicts(ProbeOut(), record(water_c))) == []


def test_a_pot_set_on_anew_clears_it() -> None:
    water_c = toward(heated(1_200), 480, 1_200, 30.0, 20.0)
    mass_g = level((100, 700.0), (600, 1_600.0), (40, 700.0), (460, 1_600.0))
    said = verdicts(ProbeOut(), record(water_c, mass_g, stays=pot(100, 700) + pot(740)))
    (second,) = dangers(said)
    assert second < 540
    assert all_clear(said, second) == pytest.approx(708, abs=2)
