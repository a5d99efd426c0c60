"""Burns and boils that others measured and published, read with the load cell or the water probe alone.

Sources: cone-calorimeter burns of wood from NIST (NIST-FRG/cone-db, US Government work), whose operator pressed a
button when the flame was out; burns of one timber in three laboratories, and the same timber heated in nitrogen, where
no flame can be, from the MaCFP working group (MaCFP/matl-db, MIT licence); one electric kettle brought to the boil, and
mashes held below it (beercanlah/ardumashtun, MIT licence). All files of a folder are read.

The bars on the median error are ours: they hold what was reached, and that is about what laboratories agree to among
themselves (six slabs of one timber at one laboratory went out at 1611 s with a standard deviation of 70 s, as the MaCFP
README says).
"""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.bench.plan import empty_plan
from emberline.bench.samples import Curve
from emberline.curves.events import Event, EventKind
from emberline.curves.flameout import MASS_ONLY_WORDS
from emberline.curves.grid import grid_of
from emberline.trials.reading import read_record

WITNESSED = ("operator_button", "lab_reported")
NIST, MACFP, NITROGEN, KETTLE = "nist_conedb_ftt", "macfp_wood_cone", "macfp_wood_n2", "boil_hold_curves"


@dataclass(frozen=True, eq=False)
class Burn:
    """A published burn.

    Attributes:
        row: Its line of the index.
        t_s: Times.
        value: Masses in grams, or temperatures.
        events: What was found in it.
    """

    row: dict[str, str]
    t_s: NDArray[np.float64]
    value: NDArray[np.float64]
    events: tuple[Event, ...]

    @property
    def flameout_s(self) -> float | None:
        """When somebody saw the flame go out, if it was before the record ended."""
        quality = self.row["flameout_quality"].split(";")[0]
        return float(self.row["t_flameout_s"]) if quality in WITNESSED else None

    def found(self, kind: EventKind) -> list[Event]:
        return [event for event in self.events if event.kind is kind]


def read(role: Role, t_s: NDArray[np.float64], value: NDArray[np.float64]) -> tuple[Event, ...]:
    return read_record(grid_of({role: Curve(t_s, value)}), {}, empty_plan()).events


@cache
def burns(root: Path, name: str) -> tuple[Burn, ...]:
    """Read all burns of a folder, or skip the test where it is missing."""
    folder = root / name
    if not folder.is_dir():
        pytest.skip(f"no folder {name} among the published burns")
    return tuple(_read_all(folder, Role.WATER if name == KETTLE else Role.MASS))


def _read_all(folder: Path, role: Role) -> Iterator[Burn]:
    with (folder / "index.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            table = np.genfromtxt(folder / f"{row['id']}.csv", delimiter=",", names=True)
            value = table["temp_C" if role is Role.WATER else "mass_g"]
            yield Burn(row, table["t_s"], value, read(role, table["t_s"], value))


def of_wood(root: Path, name: str) -> list[Burn]:
    return [burn for burn in burns(root, name) if burn.row["plant"] == "1"]


def departures(some: list[Burn]) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    """Return found less witnessed flameouts, their stated uncertainties, and how many were not found."""
    witnessed = [burn for burn in some if burn.flameout_s is not None]
    pairs = [(found[-1], burn.flameout_s) for burn in witnessed if (found := burn.found(EventKind.FLAMEOUT))]
    off = np.array([event.t_s - true_s for event, true_s in pairs if true_s is not None])
    return off, np.array([event.u_s for event, _ in pairs]), len(witnessed) - len(pairs)


@pytest.mark.parametrize(("name", "median_s", "at_least"), [(NIST, 30.0, 20), (MACFP, 60.0, 24)])
def test_flameout_from_the_mass_alone(open_data: Path, name: str, median_s: float, at_least: int) -> None:
    off, u_s, missed = departures(of_wood(open_data, name))
    assert len(off) >= at_least
    assert missed <= 0.1 * (len(off) + missed)
    assert np.median(np.abs(off)) < median_s
    # The scatter among observers is in what is stated.
    assert np.mean(np.abs(off) < 2.0 * u_s) > 0.8


@pytest.mark.parametrize("name", [NIST, MACFP, NITROGEN])
def test_a_flameout_from_the_mass_alone_says_so(open_data: Path, name: str) -> None:
    some = [event for burn in burns(open_data, name) for event in burn.found(EventKind.FLAMEOUT)]
    assert len(some) >= 15
    for event in some:
        assert not event.confirmed
        assert MASS_ONLY_WORDS in event.evidence


@pytest.mark.parametrize("name", [NIST, MACFP])
def test_where_a_record_was_stopped_does_not_decide(open_data: Path, name: str) -> None:
    """NIST stopped its records 120 s after flameout; a fire does not know that."""
    moved = []
    for burn in of_wood(open_data, name):
        if burn.flameout_s is None or not burn.found(EventKind.FLAMEOUT):
            continue
        whole_s = burn.found(EventKind.FLAMEOUT)[-1].t_s
        kept = burn.t_s < max(whole_s, burn.flameout_s) + 60.0
        sooner = [e for e in read(Role.MASS, burn.t_s[kept], burn.value[kept]) if e.kind is EventKind.FLAMEOUT]
        if sooner:
            moved.append(abs(sooner[-1].t_s - whole_s))
    assert len(moved) >= 15
    assert np.median(moved) < 5.0
    assert np.quantile(moved, 0.9) < 40.0


@pytest.mark.parametrize("name", [NIST, MACFP])
def test_ignition_from_the_mass_alone(open_data: Path, name: str) -> None:
    off = []
    for burn in of_wood(open_data, name):
        lit = burn.found(EventKind.LIT)
        if burn.flameout_s is not None and burn.row["t_ignition_s"] and lit:
            off.append(lit[0].t_s - float(burn.row["t_ignition_s"]))
    assert len(off) >= 20
    assert np.median(np.abs(off)) < 10.0


def test_wood_on_a_balance_is_neither_pot_nor_refuel(open_data: Path) -> None:
    for name in (NIST, MACFP, NITROGEN):
        for burn in burns(open_data, name):
            kinds = {event.kind for event in burn.events}
            assert not kinds & {EventKind.POT_ON, EventKind.POT_OFF, EventKind.REFUEL}, (name, burn.row["id"])


def test_a_kettle_boils_once_and_a_mash_never(open_data: Path) -> None:
    boiled, *held = burns(open_data, KETTLE)
    (boil,) = boiled.events
    assert boil.kind is EventKind.BOIL
    # Its sensor reads 95 to 96 °C on the plateau: that far off nobody can be sure.
    assert not boil.confirmed
    plateau_c = np.median(boiled.value[(boiled.t_s > boil.t_s) & (boiled.t_s < boil.t_s + 600.0)])
    assert boiled.value[boiled.t_s < boil.t_s - 120.0].max() < plateau_c
    assert abs(np.interp(boil.t_s, boiled.t_s, boiled.value) - plateau_c) < 1.0
    assert len(held) == 5
    for mash in held:
        assert mash.events == (), mash.row["id"]
