"""How the heat per gram goes along burns that others measured, beside what is assumed of it.

Sources: cone-calorimeter burns of wood, mass and heat release, by NIST (NIST-FRG/cone-db) and by the laboratories of
the MaCFP working group (MaCFP/matl-db), from ignition to the flameout that somebody saw. Slabs are at one end of what
is assumed: a front through a bed, at the other, gives the same heat all along.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from emberline.heat.firepower import HEAT_BEND, HEAT_RISE

PARTS = 8
WITNESSED = ("operator_button", "lab_reported")


def courses(folder: Path) -> np.ndarray:
    """Return the heat per gram in equal parts of each burn's loss, over its mean, (burns, parts)."""
    found = []
    with (folder / "index.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["plant"] == "1" and row["t_ignition_s"]]
    for row in rows:
        if row["flameout_quality"].split(";")[0] not in WITNESSED:
            continue
        table = np.genfromtxt(folder / f"{row['id']}.csv", delimiter=",", names=True)
        table = table[np.isfinite(table["mass_g"]) & np.isfinite(table["hrr_kW"])]
        t_s, hrr_kw = table["t_s"], table["hrr_kW"]
        burning = np.linspace(float(row["t_ignition_s"]), float(row["t_flameout_s"]), 400)
        if len(t_s) < 20 or t_s[-1] < burning[-1] - 5.0:
            continue
        smooth_g = np.convolve(np.pad(table["mass_g"], 5, mode="edge"), np.full(11, 1.0 / 11.0), "valid")
        heat_kj = np.concatenate(([0.0], np.cumsum(0.5 * (hrr_kw[1:] + hrr_kw[:-1]) * np.diff(t_s))))
        mass = np.minimum.accumulate(np.interp(burning, t_s, smooth_g))
        heat = np.interp(burning, t_s, heat_kj)
        if not 6.0 < (heat[-1] - heat[0]) / (mass[0] - mass[-1]) < 20.0:  # kJ/g of wood's volatiles
            continue
        lost = (mass[0] - mass) / (mass[0] - mass[-1])
        parts = np.interp(np.linspace(0.0, 1.0, PARTS + 1), lost, (heat - heat[0]) / (heat[-1] - heat[0]))
        found.append(np.diff(parts) * PARTS)
    return np.array(found)


@pytest.mark.parametrize(("name", "burns"), [("nist_conedb_ftt", 25), ("macfp_wood_cone", 29)])
def test_heat_per_gram_rises_and_bends_as_assumed(open_data: Path, name: str, burns: int) -> None:
    course = courses(open_data / name)
    assert len(course) >= burns
    x = (np.arange(PARTS) + 0.5) / PARTS
    rise = 3.0 * np.mean(course * (2.0 * x - 1.0), axis=1)
    bend = 5.0 * np.mean(course * (6.0 * x**2 - 6.0 * x + 1.0), axis=1)
    for values, u in ((rise, HEAT_RISE), (bend, HEAT_BEND)):
        assert np.mean(np.abs(values) < 1.96 * u) > 0.7
        # Nor is more allowed for than is seen.
        assert float(np.median(np.abs(values))) > 0.5 * u
