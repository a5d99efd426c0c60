"""Places at which a curve was disturbed, and calm curves that were not."""

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.curves.disturbances import Disturbances, find_disturbances

Array = NDArray[np.float64]


def burn(n: int = 600, *, noise_g: float = 0.1, seed: int = 0) -> Array:
    """A stove that loses mass evenly."""
    return 900.0 - 0.15 * np.arange(n) + np.random.default_rng(seed).normal(0.0, noise_g, n)


def found(values: Array, spread: Array | None = None) -> Disturbances:
    return find_disturbances(values, np.full(len(values), 0.1) if spread is None else spread)


@pytest.mark.parametrize("seed", range(3))
def test_an_even_burn_is_undisturbed(seed: int) -> None:
    assert found(burn(seed=seed)).spans == []


def test_a_hand_is_seen_from_its_first_touch_until_all_is_still() -> None:
    values = burn()
    values[300:] += 800.0
    values[298:304] += [60.0, -40.0, 90.0, 30.0, -20.0, 15.0]
    ((start, end),) = found(values).spans
    assert 297 <= start <= 298
    assert 304 <= end <= 306


def test_seconds_that_scatter_within_belong_to_the_handling() -> None:
    values, spread = burn(), np.full(600, 0.1)
    values[300:] += 800.0
    spread[299], spread[301:303] = 40.0, (9.0, 3.0)
    ((start, end),) = found(values, spread).spans
    assert start == 299
    assert end == 303


def test_spoonfuls_over_a_boiling_pot_stand_out_from_its_even_pace() -> None:
    values = burn() - 0.3 * np.clip(np.arange(600.0) - 200.0, 0.0, None)
    for at, size in ((400, 3.0), (402, 5.0), (405, 4.0), (407, 4.0)):
        values[at:] += size
    ((start, end),) = found(values).spans
    assert start == 400
    assert end == 408


@pytest.mark.parametrize("for_s", [8, 12, 28, 60])
def test_a_pot_that_boils_up_and_is_lifted_soon_was_handled_only_then(for_s: int) -> None:
    values = burn(noise_g=0.05) - 1.2 * np.clip(np.arange(600.0) - 300.0, 0.0, for_s)
    values[300 + for_s :] -= 1600.0
    start, end = found(values).spans[-1]
    assert 298 + for_s <= start < end <= 303 + for_s


def test_in_wind_a_handling_lasts_as_long_as_smaller_jumps_beside_it() -> None:
    values = burn(noise_g=1.5, seed=2)
    for at, size in ((300, 12.0), (303, 40.0), (306, 15.0)):
        values[at:] += size
    spans = [span for span in found(values).spans if span[0] < 310 and span[1] > 295]
    assert spans[0][0] <= 300
    assert spans[-1][1] >= 307
    assert len(spans) == 1


def test_what_is_laid_on_so_slowly_that_no_reading_jumps_is_found() -> None:
    # 12 g in 12 s on a cell with 0.5 g of noise.
    values = burn(noise_g=0.5, seed=1)
    values += 12.0 * np.clip((np.arange(600) - 300) / 12.0, 0.0, 1.0)
    spans = found(values).spans
    assert spans
    assert all(280 < start < end < 335 for start, end in spans)


def test_a_change_while_nothing_was_read_is_found() -> None:
    values = burn()
    values[330:] += 120.0
    values[280:330] = np.nan
    ((start, end),) = found(values).spans
    assert start <= 280
    assert end >= 330


def test_the_curve_is_level_across_what_was_taken_out() -> None:
    values = burn()
    for at, size_g in ((150, 812.0), (300, 60.0), (320, -35.0), (480, -790.0)):
        values[at:] += size_g
    result = found(values)
    assert len(result.spans) == 4
    assert result.spans == sorted(result.spans)
    calm = np.isfinite(result.level_g)
    assert np.max(np.abs(result.level_g - burn())[calm]) < 3.0
    for start, end in result.spans:
        assert not calm[start:end].any()


def test_codes_and_spacing_are_told() -> None:
    sparse = np.full(600, np.nan)
    sparse[::5] = np.round(burn())[::5]
    result = found(sparse, np.full(600, np.nan))
    assert result.spacing == 5
    assert result.code_g == pytest.approx(1.0)
    assert result.least_noise_g == pytest.approx(1.0 / 12.0**0.5)
