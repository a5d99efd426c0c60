import numpy as np
import pytest

from emberline.bench.calibration import Linear
from emberline.bench.drift_fit import DriftFit
from emberline.bench.findings import CellCheck, Finding, Found
from emberline.bench.mass_fit import KnownLoad, fit_mass
from emberline.bench.probe_fit import BOILING, Bath, fit_probe
from emberline.cli.calibration_lines import Loads, Tip, found_words
from emberline.trials.calibrating.bath import BathWatch
from emberline.trials.calibrating.load_steps import LoadSteps

MASS = fit_mass([KnownLoad(load, 0.03, 84_000.0 + 420.0 * load, 2.0) for load in (0.0, 1000.0, 500.0, 0.0)])


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (MASS, "mass, 420.000 counts/g ± 0.00"),
        (fit_probe([Bath(BOILING, 98.0, 0.08, 99.6, 0.1)]), "probe, +1.60 ± 0.26 °C, in boiling"),
        (DriftFit(0.12, 0.01, 18.0, 12.0, 0.05, None, 0.3), "drift, +0.120 ± 0.020 g/K over 12.0 K"),
        (CellCheck(1000.0, 0.1, 996.4, 0.2, True), "check, 996.4 g for 1000 g, more than it should"),
    ],
)
def test_each_finding_is_said_in_a_line(found: Found, words: str) -> None:
    assert found_words(Finding(1, "yard", "mass", 0, "Ana", found)).startswith(words)


def test_what_is_to_be_laid_on_is_said_once_each(capsys: pytest.CaptureFixture[str]) -> None:
    steps = LoadSteps([0.0, 1000.0, 0.0], [0.0, 0.1, 0.0], Linear(84_000.0, 420.0))
    tell = Loads()
    tell(steps)
    tell(steps)
    assert capsys.readouterr().out == "Take everything off the load cell, and let it rest.\n"
    t_ns = np.arange(200, dtype=np.int64) * 100_000_000
    steps.look(t_ns, 84_000.0 + np.random.default_rng(1).normal(0.0, 20.0, 200))
    tell(steps)
    said = capsys.readouterr().out
    assert said.startswith("  Taken: 8")
    assert said.endswith("Lay 1000 g in the middle, and take your hands away.\n")


def test_a_tip_says_nothing_where_nobody_looks(capsys: pytest.CaptureFixture[str]) -> None:
    Tip()(BathWatch(0.25))
    assert capsys.readouterr().out == ""
