"""The calibration benchmark runs, in its short form, and its figures are what they say."""

import pytest
from click.testing import CliRunner

from benchmarks.calibration.__main__ import main
from benchmarks.calibration.running import NONSENSE, RUNS, Recovered, refusal

RUNS_TRIED = 24


@pytest.mark.parametrize("kind", sorted(RUNS))
def test_the_truth_lies_within_the_stated_uncertainty(kind: str) -> None:
    found = [recovered for seed in range(1, RUNS_TRIED + 1) for recovered in RUNS[kind](seed)]
    within = [recovered for recovered in found if recovered.within]
    assert len(within) >= 0.9 * len(found)
    # Nor is anything stated so unsure that the truth could not be missed.
    assert max(abs(recovered.off) / recovered.u for recovered in found) > 1.0


@pytest.mark.parametrize("name", sorted(NONSENSE))
def test_nonsense_is_refused_with_its_reason(name: str) -> None:
    assert NONSENSE[name][1] in refusal(name, 3)


def test_a_miss_is_a_miss() -> None:
    assert Recovered("slope", 0.019, 0.01).within
    assert not Recovered("slope", 0.021, 0.01).within


def test_the_command_prints_each_bar() -> None:
    told = CliRunner().invoke(main, ["--runs", "3"])
    assert "slope: 3 of 3 within" in told.output
    assert "refused: wind" in told.output
