"""A temperature probe calibrated in water whose temperature is known: melting ice, and boiling water."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from uncertainties import UFloat

from emberline.bench.errors import CalibrationError

ICE, BOILING = "ice", "boiling"
U_ICE_C = 0.1 / sqrt(3.0)
"""Crushed ice and water, stirred, are within 0.1 K of 0 °C; rectangular (common practice, no source)."""
U_STIR_C = 0.1
"""Standard uncertainty of boiling water around a probe, that of the pressure aside: bubbles, and up to 10 cm of water
above it, 0.27 K (hydrostatic pressure, saturation line of IAPWS R7-97)."""
DEEP_C = 0.1
"""By how much water boils hotter at some 4 cm below its surface than at it: 390 Pa on the saturation line."""
MOST_OFF_C = 6.0
"""Error beyond which it is no ice or no boiling water: three times the standard uncertainty of class-2 wire with a
converter good to 2 K, 1.85 K (IEC 60584-1)."""


@dataclass(frozen=True, slots=True)
class Bath:
    """A probe in water of known temperature.

    Attributes:
        bath: `ice` or `boiling`.
        shown_c: What the probe showed without any correction.
        u_shown_c: Standard uncertainty of that mean.
        true_c: What it should show.
        u_true_c: Standard uncertainty of that.
    """

    bath: str
    shown_c: float
    u_shown_c: float
    true_c: float
    u_true_c: float

    @property
    def off_c(self) -> float:
        """What has to be added to the reading."""
        return self.true_c - self.shown_c

    @property
    def u_off_c(self) -> float:
        """Its standard uncertainty."""
        return hypot(self.u_shown_c, self.u_true_c)


@dataclass(frozen=True, slots=True)
class ProbeFit:
    """What a comparison found.

    Attributes:
        correction_c: To be added to every reading.
        u_correction_c: Its standard uncertainty.
        grows_c: By how much the error differs between ice and boiling water; None where only one was looked at.
        baths: The comparisons.
    """

    correction_c: float
    u_correction_c: float
    grows_c: float | None
    baths: tuple[Bath, ...]


def true_temperature(bath: str, boiling_c: UFloat) -> tuple[float, float]:
    """Return the temperature of a bath around a probe, and its standard uncertainty, in degrees.

    Args:
        bath: `ice` or `boiling`.
        boiling_c: Local boiling point, see `air.boiling_point`.
    """
    if bath == ICE:
        return 0.0, U_ICE_C
    return float(boiling_c.nominal_value) + DEEP_C, hypot(float(boiling_c.std_dev), U_STIR_C)


def fit_probe(baths: Sequence[Bath]) -> ProbeFit:
    """Return the correction that the comparisons give: that in boiling water, where it counts in a burn; else in ice.

    Where both were made and differ, the difference counts as the half-width of a rectangular distribution (JCGM
    100:2008, 4.3.7), since one number cannot be right at both ends.

    Raises:
        CalibrationError: There is none, or a probe is further off than any probe is; says what to do.
    """
    by_name = {one.bath: one for one in baths}
    for one in baths:
        if abs(one.off_c) > MOST_OFF_C:
            raise CalibrationError(_not_that(one))
    best = by_name.get(BOILING) or by_name.get(ICE)
    if best is None:
        raise CalibrationError("a probe is compared in ice, in boiling water, or in both")
    if len(by_name) < 2:
        return ProbeFit(best.off_c, best.u_off_c, None, tuple(baths))
    grows_c = by_name[BOILING].off_c - by_name[ICE].off_c
    u_c = hypot(best.u_off_c, grows_c / sqrt(3.0))
    return ProbeFit(best.off_c, u_c, grows_c, tuple(baths))


def _not_that(one: Bath) -> str:
    if one.bath == ICE:
        return (
            f"{one.shown_c:.1f} °C is no ice water: put the tip among crushed ice in little water, and stir; if it "
            "is there, its wires may be swapped, or shorted (then it shows the converter's own temperature)"
        )
    return (
        f"{one.shown_c:.1f} °C is no boiling water here, which has {one.true_c:.1f} °C: wait for a full boil with the "
        "tip in the water, or give --pressure-pa or --altitude-m of this place"
    )
