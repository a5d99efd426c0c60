"""Mass-loss rates of fire laboratories: the rules of ISO 5660-1 and rates that NIST published.

The equations of ISO 5660-1 are from memory. The worked example is our own; it follows from the derivative of its curve.
"""

import csv
import os
from pathlib import Path

import numpy as np
import pytest

from emberline.curves.mass_rate import five_point_rate, rate_10_90


def test_five_point_rule_on_a_worked_example() -> None:
    # ISO 5660-1, five-point rule (from memory). m = 500 - 0.88 i - 0.02 i^2 g every 5 s; its exact rate is
    # (0.88 + 0.04 i) / 5 s.
    mass_g = np.array([500.00, 499.10, 498.16, 497.18, 496.16, 495.10, 494.00, 492.86])
    rate_g_min = 60.0 * five_point_rate(mass_g, 5.0)
    assert rate_g_min[[0, 1, 3, 6, 7]] == pytest.approx([10.56, 11.04, 12.00, 13.44, 13.92], abs=0.005)


def test_10_90_rates_agree_with_those_published_by_nist() -> None:
    """Cone calorimeter burns of the NIST-FRG/cone-db collection (US Government work), with NIST's own 10-90 % rates.

    NIST takes the specimen's mass on a bench balance as the start of the loss. A few plastics and one slab that only
    smouldered depart by more, because their published rate ends the loss elsewhere.
    """
    root = os.environ.get("EMBERLINE_OPEN_DATA")
    if not root or not (folder := Path(root) / "nist_conedb_ftt").is_dir():
        pytest.skip("set EMBERLINE_OPEN_DATA to the folder of published burns")
    departures = []
    with (folder / "index.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            if not row["ref_mlr_10_90_gsm2"]:
                continue
            table = np.genfromtxt(folder / f"{row['id']}.csv", delimiter=",", names=True)
            mass_g = np.concatenate(([float(row["initial_mass_g"])], table["mass_g"][1:]))
            rate = rate_10_90(table["t_s"], mass_g) / float(row["area_m2"])
            departures.append(abs(rate / float(row["ref_mlr_10_90_gsm2"]) - 1.0))
    assert len(departures) >= 40
    assert np.median(departures) < 0.005
    assert np.mean(np.array(departures) < 0.01) > 0.70
    assert np.mean(np.array(departures) < 0.025) > 0.85
