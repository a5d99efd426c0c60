"""Burns that others measured and published, given to the detectors as they happened: second by second.

Sources: cone-calorimeter burns of wood by NIST (NIST-FRG/cone-db, US Government work), whose operator pressed a button
at flameout; one timber in several laboratories, and the same timber heated in nitrogen, by the MaCFP working group
(MaCFP/matl-db, MIT licence). `EMBERLINE_OPEN_DATA` names the folder with their files.

No record tells by its end when the flame died: besides what the live run announces, each record is cut at several
moments after the flameout, and the final pass is asked of each piece.
"""

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.accuracy.scoring import Figure
from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import empty_plan
from emberline.bench.samples import Curve
from emberline.curves.events import Event, EventKind
from emberline.curves.flameout import MASS_ONLY_WORDS
from emberline.curves.grid import Grid, grid_of
from emberline.trials.reading import read_record
from emberline.trials.tracker import Tracker

NIST, MACFP, NITROGEN = "nist_conedb_ftt", "macfp_wood_cone", "macfp_wood_n2"
WITNESSED = ("operator_button", "lab_reported")
CUTS_S = (45, 90, 180, 360)


@dataclass(frozen=True, slots=True)
class Slab:
    """A published record: its set, number and, where somebody saw the flame die in it, when."""

    folder: str
    number: str
    out_s: float | None

    def __str__(self) -> str:
        return f"{self.folder}/{self.number}"


@dataclass(frozen=True, slots=True)
class SlabOutcome:
    """What was found in one record.

    Attributes:
        slab: The record.
        announced: The last announcement that a live run did not take back, as it was when it was made; None without.
        announced_s: When it was made.
        cut: What the final pass found in records cut so many seconds after the flameout; None where it found nothing.
        unworded: Flameouts stated without the words that mass alone does not show a flame, or as confirmed.
        stated: Flameouts stated at all, live and final.
    """

    slab: Slab
    announced: Figure | None
    announced_s: float | None
    cut: dict[int, Figure | None]
    unworded: int
    stated: int


def slabs(root: Path) -> list[Slab]:
    """Return the records of wood whose flameout somebody saw, and those in nitrogen."""
    found = []
    for folder in (NIST, MACFP, NITROGEN):
        with (root / folder / "index.csv").open(newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                seen = row["flameout_quality"].split(";")[0] in WITNESSED
                if folder == NITROGEN or (seen and row["plant"] == "1"):
                    out_s = None if folder == NITROGEN else float(row["t_flameout_s"])
                    found.append(Slab(folder, row["id"], out_s))
    return found


def judge_slab(root: Path, slab: Slab) -> SlabOutcome:
    """Give a record to the live run second by second, and to the final pass cut at several moments."""
    table = np.genfromtxt(root / slab.folder / f"{slab.number}.csv", delimiter=",", names=True)
    grid = grid_of({Role.MASS: Curve(table["t_s"], table["mass_g"])})
    tracker = Tracker({Role.MASS: default_channel(Role.MASS)}, empty_plan())
    standing: tuple[Event, float] | None = None
    stated: list[Event] = []
    for second in range(1, grid.n + 1):
        for said in tracker.look(grid.upto(second)):
            if said.kind is EventKind.FLAMEOUT:
                standing = (said, float(second)) if isinstance(said, Event) else None
                stated += [said] if isinstance(said, Event) else []
    cut: dict[int, Figure | None] = {}
    if slab.out_s is None:
        stated += _flameouts(grid)[-1:]
    else:
        for after_s in CUTS_S:
            end = int(slab.out_s) + after_s
            if end <= grid.n:
                found = _flameouts(grid.upto(end))[-1:]
                stated += found
                cut[after_s] = _figure(found[0], slab.out_s) if found else None
    announced = None
    if standing is not None and slab.out_s is not None:
        announced = _figure(standing[0], slab.out_s)
    unworded = sum(event.confirmed or MASS_ONLY_WORDS not in event.evidence for event in stated)
    return SlabOutcome(slab, announced, standing[1] if standing else None, cut, unworded, len(stated))


def _flameouts(grid: Grid) -> list[Event]:
    events = read_record(grid, {}, empty_plan()).events
    return [event for event in events if event.kind is EventKind.FLAMEOUT]


def _figure(event: Event, true_s: float) -> Figure:
    return Figure("flameout", true_s, event.t_s, event.u_s)
