import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.bench.calibration import SATURATED_24_BIT, Identity, Linear
from emberline.bench.errors import CalibrationError
from emberline.bench.mass_fit import fit_mass
from emberline.trials.calibrating.load_steps import HOLD_S, STEP_LIMIT_S, LoadSteps

HZ = 10
SLOPE, ZERO = 419.0, 84_000.0
NOMINAL = Linear(ZERO, SLOPE)
MASSES_G = [0.0, 1000.0, 500.0, 0.0]


def readings(
    laid_g: list[float], each_s: float = 30.0, noise_g: float = 0.08
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    rng = np.random.default_rng(5)
    load_g = np.repeat(laid_g, int(each_s * HZ))
    t_ns = 1_764_072_000_000_000_000 + np.arange(len(load_g)) * (1_000_000_000 // HZ)
    return t_ns.astype(np.int64), ZERO + SLOPE * (load_g + rng.normal(0.0, noise_g, len(load_g)))


def run(steps: LoadSteps, t_ns: NDArray[np.int64], raw: NDArray[np.float64]) -> list[int]:
    """Look once a second; return at which seconds a load was taken."""
    return [
        end // HZ
        for end in range(HZ, len(t_ns) + 1, HZ)
        if steps.look(t_ns[max(0, end - 120 * HZ) : end], raw[max(0, end - 120 * HZ) : end])
    ]


def test_each_load_is_taken_by_itself_once_it_rests() -> None:
    steps = LoadSteps(MASSES_G, [0.0, 0.05, 0.05, 0.0], NOMINAL)
    taken = run(steps, *readings([0.0, 1000.0, 500.0, 0.0]))
    assert steps.done
    assert all(begin + HOLD_S <= at < begin + 30 for begin, at in zip((0, 30, 60, 90), taken, strict=True))
    fit = fit_mass(steps.loads)
    assert fit.counts_per_g == pytest.approx(SLOPE, rel=1e-3)
    assert [one.u_load_g for one in steps.loads] == [0.0, 0.05, 0.05, 0.0]


def test_a_cell_of_unknown_scale_is_weighed_in_counts() -> None:
    steps = LoadSteps(MASSES_G, [0.0, 0.05, 0.05, 0.0], Identity())
    run(steps, *readings([0.0, 1000.0, 500.0, 0.0]))
    assert steps.done
    assert fit_mass(steps.loads).counts_per_g == pytest.approx(SLOPE, rel=1e-3)


def test_what_is_laid_on_is_waited_for() -> None:
    steps = LoadSteps(MASSES_G, [0.0, 0.05, 0.05, 0.0], NOMINAL)
    assert len(run(steps, *readings([0.0], each_s=100.0))) == 1
    assert (steps.taken, steps.wanted_g) == (1, 1000.0)
    assert steps.level is not None
    assert steps.level.mean_g == pytest.approx(ZERO / SLOPE, abs=0.1)


def test_nothing_laid_on_for_long_is_refused() -> None:
    steps = LoadSteps(MASSES_G, [0.0, 0.05, 0.05, 0.0], NOMINAL)
    with pytest.raises(CalibrationError, match="the load did not change within 2 minutes, though 1000 g"):
        run(steps, *readings([0.0], each_s=STEP_LIMIT_S + 60.0))


def test_a_load_that_never_rests_is_refused() -> None:
    steps = LoadSteps(MASSES_G, [0.0, 0.05, 0.05, 0.0], NOMINAL)
    t_ns, raw = readings([0.0], each_s=STEP_LIMIT_S + 60.0)
    sway = 15.0 * np.sin(np.arange(len(raw)) / 17.0) * np.sin(np.arange(len(raw)) / 31.0)
    with pytest.raises(CalibrationError, match="never came to rest within 2 minutes"):
        run(steps, t_ns, raw + SLOPE * sway)


@pytest.mark.parametrize("code", [SATURATED_24_BIT, -SATURATED_24_BIT - 1.0, np.nan])
def test_a_converter_at_its_end_is_refused_within_seconds(code: float) -> None:
    steps = LoadSteps(MASSES_G, [0.0, 0.05, 0.05, 0.0], NOMINAL)
    t_ns, raw = readings([0.0, 1000.0], each_s=20.0)
    raw[20 * HZ :] = code
    with pytest.raises(CalibrationError, match="at the end of its range"):
        run(steps, t_ns[: 25 * HZ], raw[: 25 * HZ])


def test_without_readings_nothing_happens() -> None:
    steps = LoadSteps(MASSES_G, [0.0] * 4, NOMINAL)
    assert not steps.look(np.zeros(0, dtype=np.int64), np.zeros(0))
    assert steps.level is None
