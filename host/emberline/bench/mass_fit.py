"""A load cell calibrated by known masses: slope, zero, linearity, hysteresis, repeatability, and their uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from emberline.bench.calibration import fitted
from emberline.bench.errors import CalibrationError

LEAST_SHARE = 0.1
"""Least share of the cell's capacity that the largest mass must have: an error of a tenth of a gram at 100 g is one of
five grams at 5 kg (ours)."""
CROOKED = 0.005
"""Share of the span by which a point may lie off the line, or a load differ when it comes back: ten times what makers
of beam cells state (0.05 % of capacity each); beyond it something touches, or a mass is not what was typed."""
SURE = 20.0
"""Standard uncertainties by which a load must move the counts."""
OTHER_SLOPE, OTHER_NOMINAL = 0.03, 0.4
"""Share by which a slope may differ from that of an earlier calibration, and from a device's nominal one (the output of
cheap cells is 1.0 ± 0.15 mV/V)."""


@dataclass(frozen=True, slots=True)
class KnownLoad:
    """A known load, and what the converter showed.

    Attributes:
        load_g: The load.
        u_load_g: Its standard uncertainty.
        counts: Mean counts.
        u_counts: Standard uncertainty of that mean.
    """

    load_g: float
    u_load_g: float
    counts: float
    u_counts: float


@dataclass(frozen=True, slots=True)
class MassFit:
    """What a calibration with known masses found. Uncertainties are standard ones.

    Attributes:
        counts_per_g: Slope.
        zero_counts: Counts of the empty cell.
        u_span: Of the slope, relative.
        u_zero_g: Of the zero, and of any reading by it, that of the slope aside.
        linearity_g: Largest distance of a point of the way up from the line.
        hysteresis_g: Largest difference of a load that was laid on again.
        repeatability_g: Standard deviation of loads that were laid on again; None where each was there but once.
        loads: What was laid on, in order.
    """

    counts_per_g: float
    zero_counts: float
    u_span: float
    u_zero_g: float
    linearity_g: float
    hysteresis_g: float
    repeatability_g: float | None
    loads: tuple[KnownLoad, ...]


def expect_masses(masses_g: Sequence[float], capacity_g: float | None) -> None:
    """Check which masses are to be laid on, in order.

    Raises:
        CalibrationError: They cannot make a calibration; says why, and what to take.
    """
    if len(masses_g) < 3 or masses_g[0] != 0.0 or masses_g[-1] != 0.0:
        raise CalibrationError(
            "begin and end with the empty cell, such as 0, 1000, 500, 0: only that shows whether it comes back"
        )
    if any(mass_g < 0.0 for mass_g in masses_g):
        raise CalibrationError("a mass is not below 0: write grams, such as 1000")
    if any(one == other for one, other in pairwise(masses_g)):
        raise CalibrationError("two masses that follow each other must differ: a change of load is what is looked for")
    most_g = max(masses_g)
    if capacity_g is not None and most_g > capacity_g:
        raise CalibrationError(f"{most_g:g} g are more than the cell can carry, {capacity_g:g} g: take less")
    if capacity_g is not None and most_g < LEAST_SHARE * capacity_g:
        raise CalibrationError(
            f"{most_g:g} g are too little for a cell of {capacity_g:g} g: use {LEAST_SHARE * capacity_g:g} g at least, "
            "best about what stove, fuel and pot weigh together"
        )


def fit_mass(loads: Sequence[KnownLoad]) -> MassFit:
    """Fit a calibration to known loads in the order in which they were laid on.

    The line is that of least squares. Three things make its slope unsure, taken as independent (JCGM 100:2008, 5.1.2):
    what the masses are, the scatter of the readings, and that the cell is not straight or does not come back; the last
    as a rectangular distribution whose half-width is the larger of linearity and half the hysteresis (4.3.7). The
    readings' own share is that of a fitted line (H.3.3, with a standard deviation known for each). Creep, which comes
    with time, and warmth, which a cold calibration does not see, are the ledger's to add.

    Raises:
        CalibrationError: The counts do not follow the loads; says what is probably wrong.
    """
    points = [(one.load_g, one.counts) for one in loads]
    load_g = np.array([one.load_g for one in loads])
    counts = np.array([one.counts for one in loads])
    _expect_answer(loads)
    line = fitted(points, u_load=0.0)
    slope, zero = line.calibration.counts_per_unit, line.calibration.zero_counts
    span_g = float(load_g.max() - load_g.min())
    _expect_straight(loads, span_g)
    weight = (load_g - load_g.mean()) / float((load_g - load_g.mean()) @ (load_g - load_g.mean()))
    u_counts = np.array([one.u_counts for one in loads])
    u_read = float(np.sqrt(np.sum((weight * u_counts) ** 2))) / abs(slope)
    # The same mass laid on twice has the same error twice.
    shares: dict[float, float] = {}
    for one, share in zip(loads, weight.tolist(), strict=True):
        shares[one.load_g] = shares.get(one.load_g, 0.0) + share
    u_of = {one.load_g: one.u_load_g for one in loads}
    u_masses = float(np.sqrt(sum((share * u_of[mass_g]) ** 2 for mass_g, share in shares.items())))
    crooked_g = max(line.linearity, line.hysteresis / 2.0) / sqrt(3.0)
    u_span = sqrt(u_read**2 + u_masses**2 + (crooked_g / span_g) ** 2)
    u_zero_g = hypot(crooked_g, float(np.sqrt(np.mean(u_counts**2))) / abs(slope))
    return MassFit(
        slope,
        zero,
        u_span,
        u_zero_g,
        line.linearity,
        line.hysteresis,
        _repeatability(load_g, counts, slope),
        tuple(loads),
    )


def expect_like_before(fit: MassFit, before: float, *, measured: bool) -> None:
    """Compare a slope with the one that held before.

    Args:
        fit: What was found.
        before: Counts per gram before.
        measured: Whether that was found by a calibration; else the device calls it nominal.

    Raises:
        CalibrationError: They differ by more than a cell changes: a mass was probably not what was typed.
    """
    ratio = fit.counts_per_g / before
    limit = OTHER_SLOPE if measured else OTHER_NOMINAL
    if 1.0 / (1.0 + limit) <= ratio <= 1.0 + limit:
        return
    most_g = max(one.load_g for one in fit.loads)
    if ratio < 0.0:
        raise CalibrationError(
            "the load counts the other way round than before: are the bridge's signal wires swapped? If they are meant "
            "to be, or the cell is another one, say --new-cell"
        )
    kind = "the last calibration" if measured else "the device's nominal scale"
    raise CalibrationError(
        f"by {kind} the mass of {most_g:g} g weighs {most_g * ratio:.0f} g: was another mass laid on than was typed? "
        "If cell or converter are other ones than before, say --new-cell"
    )


def _expect_answer(loads: Sequence[KnownLoad]) -> None:
    empty, most = loads[0], max(loads, key=lambda one: one.load_g)
    moved, u_moved = abs(most.counts - empty.counts), hypot(most.u_counts, empty.u_counts)
    if moved <= SURE * u_moved:
        raise CalibrationError(
            f"the counts moved by {moved:.0f} ± {u_moved:.0f} under {most.load_g:g} g: nothing stood on the cell, or "
            "the bridge is not wired to the converter; or the mass is too small for this cell"
        )


def _expect_straight(loads: Sequence[KnownLoad], span_g: float) -> None:
    """Refuse points that no straight cell gives; by the line through the empty cell and the largest mass."""
    first = loads[0]
    most = max(loads, key=lambda one: one.load_g)
    slope = (most.counts - first.counts) / (most.load_g - first.load_g)
    for one in loads[1:]:
        shows_g = (one.counts - first.counts) / slope
        off_g = shows_g - one.load_g
        if abs(off_g) <= CROOKED * span_g:
            continue
        if one.load_g == 0.0:
            raise CalibrationError(
                f"the empty cell shows {off_g:+.1f} g where it should be back at 0: is something left on it, does a "
                "lead or the frame touch, was it knocked? Set it free and begin anew"
            )
        if one is most or one.load_g == most.load_g:
            raise CalibrationError(
                f"the mass of {one.load_g:g} g shows {off_g:+.1f} g when laid on again: does something touch? Lay it "
                "in the middle, and begin anew"
            )
        raise CalibrationError(
            f"if the largest mass is {most.load_g:g} g, the one typed as {one.load_g:g} g weighs {shows_g:.1f} g: one "
            "of the two was typed wrong, or something touches the cell; begin anew with the masses as they are"
        )


def _repeatability(load_g: NDArray[np.float64], counts: NDArray[np.float64], slope: float) -> float | None:
    squares, free = 0.0, 0
    for load in set(load_g.tolist()):
        own = counts[load_g == load]
        squares += float(np.sum((own - own.mean()) ** 2))
        free += len(own) - 1
    return sqrt(squares / free) / abs(slope) if free else None
