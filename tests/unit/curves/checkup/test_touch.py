from dataclasses import replace

import numpy as np
import pytest

from emberline.curves.checkup.signal import Nature, Signal
from emberline.curves.checkup.touch import touched
from unit.curves.checkup.made_up import cell, probe


def test_a_probe_in_a_hand_rises() -> None:
    answer = touched(probe(), probe(drift_c_s=0.6, seed=2, seconds=8.0))
    assert answer.well
    assert "rises by 4" in answer.text


def test_a_probe_with_swapped_leads_falls() -> None:
    answer = touched(probe(), probe(drift_c_s=-0.6, seed=2, seconds=8.0))
    assert not answer.well
    assert "leads are swapped" in answer.text


def test_a_short_does_not_answer() -> None:
    answers = [touched(probe(seed=seed), probe(seed=1000 + seed, seconds=8.0)) for seed in range(200)]
    assert not any(answer.well for answer in answers)
    assert all("touch each other" in answer.text for answer in answers)


def pressed(counts: float, scale: float = 1.0 / 420.0) -> Signal:
    signal = cell(seed=2, scale=scale)
    press = np.where((signal.t_s > 3.0) & (signal.t_s < 5.0), counts, 0.0)
    return replace(signal, raw=signal.raw + press)


@pytest.mark.parametrize("scale", [1.0 / 420.0, float("nan")])
def test_a_press_that_comes_and_goes_is_seen(scale: float) -> None:
    answer = touched(cell(scale=scale), pressed(84_000.0, scale))
    assert answer.well
    assert "rises" in answer.text


def test_a_bridge_with_swapped_signal_leads_falls_and_may_stay_so() -> None:
    answer = touched(cell(), pressed(-84_000.0))
    assert answer.well
    assert "calibration takes that into account" in answer.text.replace("\n", " ")


def test_a_load_cell_that_carries_nothing_does_not_answer() -> None:
    assert not touched(cell(), pressed(0.0)).well


def test_without_readings_nothing_is_known() -> None:
    none = Signal("mass", Nature.BRIDGE, np.zeros(0), np.zeros(0))
    assert not touched(none, cell()).well
    assert not touched(cell(), none).well
