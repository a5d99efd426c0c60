"""What a calibration makes of what a bench shows; the way there is in tests/system/test_calibrating.py."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from uncertainties import ufloat

from emberline.app import calibrating as module
from emberline.app.calibrating import (
    Session,
    Where,
    boiling_here,
    calibrated_mass,
    checked_mass,
    drifted,
    on_bench,
    read_again,
    weigh,
)
from emberline.app.stored import STORE_NAME
from emberline.bench.air import Place
from emberline.bench.bench_file import default_bench, parse_bench
from emberline.bench.calibration import Identity, Linear
from emberline.bench.channels import Calibrated, Channel, Role, default_channel
from emberline.bench.errors import CalibrationError
from emberline.bench.mass_fit import KnownLoad, fit_mass
from emberline.bench.samples import SampleBatch
from emberline.service.bench_fit import bench_text
from emberline.service.errors import NoDaemonError, RequestError
from emberline.store.store import Store
from emberline.trials.calibrating.load_steps import LoadSteps
from unit.store.made_up import NOON_NS

SLOPE, ZERO = 420.0, 84_000.0


def session(channel: Channel, pressure_pa: float | None = None) -> Session:
    """A bench of which nothing but a channel and the air is looked at."""
    bench = default_bench([Role.MASS, Role.PRESSURE] if pressure_pa else [Role.MASS])
    found = SimpleNamespace(channel=lambda _: channel, bench=bench, newest=lambda _: pressure_pa)
    return cast(Session, found)


def steps(masses_g: list[float], *, slope: float = SLOPE, drift_g: float = 0.0) -> LoadSteps:
    loads = [
        KnownLoad(mass_g, 0.1 if mass_g else 0.0, ZERO + slope * (mass_g + drift_g * index), 5.0)
        for index, mass_g in enumerate(masses_g)
    ]
    return cast(LoadSteps, SimpleNamespace(loads=loads))


def cell(calibration: Linear | Identity, *marks: Calibrated) -> Channel:
    return replace(default_channel(Role.MASS), calibration=calibration, calibrated=marks, capacity_g=5000.0)


def test_a_slope_is_compared_with_the_nominal_one_and_more_closely_with_a_measured_one() -> None:
    known = steps([0.0, 1000.0, 500.0, 0.0], slope=1.1 * SLOPE)
    nominal, measured = cell(Linear(ZERO, SLOPE)), cell(Linear(ZERO, SLOPE), Calibrated("mass", 1, "2025"))
    assert calibrated_mass(session(nominal), Role.MASS, known, new_cell=False).counts_per_g == pytest.approx(462.0)
    with pytest.raises(CalibrationError, match="by the last calibration"):
        calibrated_mass(session(measured), Role.MASS, known, new_cell=False)
    calibrated_mass(session(measured), Role.MASS, known, new_cell=True)
    calibrated_mass(session(cell(Identity())), Role.MASS, known, new_cell=False)


def test_a_check_takes_the_mean_zero_off_and_allows_for_its_move() -> None:
    found, words = checked_mass(session(cell(Linear(ZERO, SLOPE))), Role.MASS, steps([0.0, 1000.0, 0.0], drift_g=0.6))
    assert found.shown_g == pytest.approx(1000.0)
    assert found.u_shown_g == pytest.approx(0.6 / 3.0**0.5, rel=0.01)
    assert not found.in_doubt
    assert "within what the calibration allows" in words


def test_a_cell_that_shows_too_little_is_in_doubt_and_one_without_a_scale_cannot_be_checked() -> None:
    known = steps([0.0, 1000.0, 0.0], slope=0.98 * SLOPE)
    assert checked_mass(session(cell(Linear(ZERO, SLOPE))), Role.MASS, known)[0].in_doubt
    with pytest.raises(CalibrationError, match="not calibrated yet"):
        checked_mass(session(cell(Identity())), Role.MASS, known)


def test_masses_that_the_cell_cannot_carry_are_refused_before_anything_is_laid_on() -> None:
    with pytest.raises(CalibrationError, match="more than the cell can carry"):
        weigh(session(cell(Linear(ZERO, SLOPE))), Role.MASS, [0.0, 6000.0, 0.0], [0.0, 1.0, 0.0], lambda _: None)


def test_the_boiling_point_follows_what_is_given_then_the_benchs_barometer() -> None:
    mass = cell(Linear(ZERO, SLOPE))
    given = Place(pressure_pa=ufloat(90_000.0, 100.0))
    assert boiling_here(session(mass, 95_000.0), given).n == pytest.approx(96.7, abs=0.1)
    assert boiling_here(session(mass, 95_000.0), Place()).n == pytest.approx(98.2, abs=0.1)
    assert boiling_here(session(mass), Place()).s > 0.3


def test_without_a_daemon_and_without_a_place_there_is_nothing_to_calibrate(tmp_path: Path) -> None:
    with pytest.raises(NoDaemonError, match="no daemon runs"):
        on_bench(tmp_path, None, Where(), lambda _: None)


def test_without_a_daemon_a_trial_is_read_again_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    worked_out: list[str] = []
    monkeypatch.setattr(module, "summary_of", lambda _, trial: worked_out.append(trial))
    fit = fit_mass([KnownLoad(load, 0.03, ZERO + SLOPE * load, 2.0) for load in (0.0, 1000.0, 500.0, 0.0)])
    with Store.open(tmp_path / STORE_NAME, now_ns=lambda: NOON_NS) as store:
        text = bench_text(replace(default_bench([Role.MASS]), id="yard"))
        trial = store.create_trial(bench="yard", start_ns=NOON_NS, bench_text=text)
        store.end_trial(trial.id, NOON_NS + 1)
        store.add_finding("yard", "mass", fit, "Ana")
    assert read_again(tmp_path, "last", "Ana", as_recorded=False) == trial.id
    assert worked_out == [trial.id]
    with Store.open(tmp_path / STORE_NAME) as store:
        assert parse_bench(store.trial(trial.id).bench_text).channels[0].calibrated[0].number == 1
    with pytest.raises(RequestError, match="already"):
        read_again(tmp_path, trial.id, "Ana", as_recorded=False)


def test_the_drift_is_found_in_what_was_recorded(tmp_path: Path) -> None:
    seconds = 1800
    t_ns = NOON_NS + np.arange(seconds, dtype=np.int64) * 1_000_000_000
    cell_c = 20.0 + 10.0 * np.interp(np.arange(seconds), [0, 900, seconds], [0.0, 1.0, 0.4])
    counts = ZERO + SLOPE * 0.15 * (cell_c - 20.0) + np.random.default_rng(9).normal(0.0, 20.0, seconds)
    flags = np.zeros(seconds, dtype=np.uint8)
    with Store.open(tmp_path / STORE_NAME) as store:
        store.commit(
            "yard",
            [
                SampleBatch("dev", 1, "mass", 0, t_ns, counts, flags),
                SampleBatch("dev", 1, "cell_temperature", 0, t_ns, cell_c, flags),
            ],
        )
        bench = default_bench([Role.MASS, Role.CELL_TEMPERATURE])
        bench = replace(bench, channels=(cell(Linear(ZERO, SLOPE)), *bench.channels[1:]))
        found = cast(Session, SimpleNamespace(bench=bench, bench_id="yard", store=store))
        fit = drifted(found, Role.MASS, int(t_ns[0]), int(t_ns[-1]))
    assert fit.g_per_k == pytest.approx(0.15, abs=2.0 * fit.u_g_per_k)
