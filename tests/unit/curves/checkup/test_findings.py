"""What is found wrong, and what is not."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from emberline.curves.checkup.findings import Problem, findings_of
from emberline.curves.checkup.signal import Fault, Nature, Signal
from unit.curves.checkup.made_up import cell, probe, times


def problems(signal: Signal) -> list[Problem]:
    return [finding.problem for finding in findings_of(signal)]


def with_raw(signal: Signal, value: float) -> Signal:
    return replace(signal, raw=np.full(len(signal.t_s), value))


def test_of_sound_sensors_next_to_nothing_is_found() -> None:
    """False alarms: at most one in a hundred of each kind of sensor."""
    makes: list[Callable[[int], Signal]] = [
        lambda seed: cell(seed),
        lambda seed: cell(seed, rate_hz=80.3, noise=120.0),
        lambda seed: probe(seed=seed),
        lambda seed: probe(value_c=96.0, seed=seed, drift_c_s=0.2),
        lambda seed: probe(value_c=700.0, seed=seed, noise_c=15.0),
        lambda seed: probe(value_c=21.0, cold_c=None, seed=seed, step_c=0.01, noise_c=0.03),
    ]
    for made in makes:
        found = [problems(made(seed)) for seed in range(100)]
        assert sum(bool(one) for one in found) <= 1, found


@pytest.mark.parametrize(
    ("fault", "problem"),
    [
        (Fault.OPEN, Problem.OPEN),
        (Fault.SHORT_LOW, Problem.LEAD),
        (Fault.SHORT_HIGH, Problem.LEAD),
        (Fault.SATURATED, Problem.SATURATED),
        (Fault.NO_ANSWER, Problem.NO_ANSWER),
        (Fault.COLD_JUNCTION, Problem.COLD_JUNCTION),
        (Fault.UNKNOWN, Problem.WORDS),
    ],
)
def test_every_fault_bit_has_its_words(fault: Fault, problem: Problem) -> None:
    signal = probe()
    raw = signal.raw.copy()
    raw[:7] = np.nan
    (finding,) = findings_of(replace(signal, raw=raw, faults={fault: 7, Fault.OPEN: 7 if fault is Fault.OPEN else 0}))
    assert finding.problem is problem
    assert "in 7 of 40 readings" in finding.text


def test_a_probe_whose_readings_are_all_faults_is_told_once() -> None:
    signal = probe()
    broken = replace(signal, raw=np.full(len(signal.t_s), np.nan), faults={Fault.OPEN: len(signal.t_s)})
    assert problems(broken) == [Problem.OPEN]


@pytest.mark.parametrize("code", [8_388_607.0, -8_388_608.0])
def test_a_bridge_at_its_end_is_saturated_though_no_bit_says_so(code: float) -> None:
    assert problems(with_raw(cell(), code)) == [Problem.SATURATED]


@pytest.mark.parametrize("code", [0.0, -1.0])
def test_a_data_line_that_nobody_drives(code: float) -> None:
    assert problems(with_raw(cell(), code)) == [Problem.NO_ANSWER]
    assert problems(with_raw(probe(), 0.0))[0] is Problem.NO_ANSWER
    assert Problem.NO_ANSWER not in problems(with_raw(probe(cold_c=0.2), 0.0))


def test_a_code_that_stands_still_is_stuck_on_a_bridge_and_usual_on_a_probe() -> None:
    assert problems(with_raw(cell(), 492_113.0)) == [Problem.STUCK]
    assert problems(with_raw(probe(), 84.0)) == []


def test_a_short_reads_as_its_board_and_is_no_certainty() -> None:
    (finding,) = findings_of(probe(value_c=24.1, cold_c=24.0))
    assert finding.problem is Problem.LIKE_SHORT
    assert not finding.sure
    assert "in your hand" in finding.advice
    assert "only on a bench that has been cold for hours" in finding.advice


def test_a_probe_far_below_its_board_is_in_ice_or_reversed() -> None:
    (finding,) = findings_of(probe(value_c=-30.0, cold_c=25.0))
    assert finding.problem is Problem.BELOW
    assert not finding.sure
    assert "55 K below its board" in finding.text
    assert "swap the two leads" in finding.advice
    assert "cold for hours" in finding.advice


@pytest.mark.parametrize("value_c", [-120.0, 2_000.0])
def test_temperatures_that_no_stove_has(value_c: float) -> None:
    assert problems(probe(value_c=value_c)) == [Problem.IMPOSSIBLE]


def test_a_load_cell_that_scatters_or_moves_or_hums() -> None:
    assert problems(cell(noise=3_000.0)) == [Problem.NOISY]
    assert problems(cell(seconds=20.0, add=np.arange(200, dtype=np.float64) * 5.0)) == [Problem.MOVING]
    t_s = times(80.3, 10.0, np.random.default_rng(1))
    hum = 500.0 * np.sin(2.0 * np.pi * 50.0 * t_s)
    (finding,) = findings_of(cell(rate_hz=80.3, add=hum))
    assert finding.problem is Problem.HUM
    assert "50 Hz" in finding.text
    assert "30.30 Hz" in finding.text


def test_counts_that_nobody_has_calibrated() -> None:
    (finding,) = findings_of(cell(scale=float("nan")))
    assert finding.problem is Problem.COUNTS
    assert "emberline calibrate mass" in finding.advice


def test_readings_that_come_seldom_or_with_holes() -> None:
    assert problems(cell(rate_hz=0.4, seconds=60.0)) == [Problem.SELDOM]
    signal = cell()
    keep = (signal.t_s < 4.0) | (signal.t_s > 6.0)
    assert problems(replace(signal, t_s=signal.t_s[keep], raw=signal.raw[keep])) == [Problem.HOLE]


def test_a_channel_that_says_nothing() -> None:
    assert problems(Signal("co", Nature.OTHER, np.zeros(0), np.zeros(0))) == [Problem.SILENT]
