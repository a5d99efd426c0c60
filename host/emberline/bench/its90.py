"""Reference functions of thermocouple types K, J, N and T on the ITS-90, as published."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Piece:
    """One range of a reference function: E(t) = sum c_i t^i + a0 exp(a1 (t - a2)^2), millivolts and degrees.

    Attributes:
        upto_c: Upper end of the range, which belongs to it; the lower end belongs to the piece before.
        coefficients: c_0, c_1, ...
        bump: (a0, a1, a2) of the exponential, which only type K has.
    """

    upto_c: float
    coefficients: tuple[float, ...]
    bump: tuple[float, float, float] | None = None

    def emf_mv(self, t_c: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the voltage, cold junction at 0 degrees."""
        emf = np.asarray(polynomial.polyval(t_c, self.coefficients), dtype=np.float64)
        if self.bump is not None:
            a0, a1, a2 = self.bump
            emf = emf + a0 * np.exp(a1 * (t_c - a2) ** 2)
        return emf

    def slope_mv_k(self, t_c: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the sensitivity, millivolts per kelvin."""
        slope = np.asarray(polynomial.polyval(t_c, polynomial.polyder(self.coefficients)), dtype=np.float64)
        if self.bump is not None:
            a0, a1, a2 = self.bump
            slope = slope + 2.0 * a0 * a1 * (t_c - a2) * np.exp(a1 * (t_c - a2) ** 2)
        return slope


REFERENCE: Mapping[str, tuple[Piece, ...]] = {
    "K": (
        Piece(
            0.0,
            (
                0.0,
                3.94501280250e-2,
                2.36223735980e-5,
                -3.28589067840e-7,
                -4.99048287770e-9,
                -6.75090591730e-11,
                -5.74103274280e-13,
                -3.10888728940e-15,
                -1.04516093650e-17,
                -1.98892668780e-20,
                -1.63226974860e-23,
            ),
        ),
        Piece(
            1372.0,
            (
                -1.76004136860e-2,
                3.89212049750e-2,
                1.85587700320e-5,
                -9.94575928740e-8,
                3.18409457190e-10,
                -5.60728448890e-13,
                5.60750590590e-16,
                -3.20207200030e-19,
                9.71511471520e-23,
                -1.21047212750e-26,
            ),
            (0.1185976, -0.0001183432, 126.9686),
        ),
    ),
    "J": (
        Piece(
            760.0,
            (
                0.0,
                5.03811878150e-2,
                3.04758369300e-5,
                -8.56810657200e-8,
                1.32281952950e-10,
                -1.70529583370e-13,
                2.09480906970e-16,
                -1.25383953360e-19,
                1.56317256970e-23,
            ),
        ),
        Piece(
            1200.0,
            (
                2.96456256810e2,
                -1.49761277860e0,
                3.17871039240e-3,
                -3.18476867010e-6,
                1.57208190040e-9,
                -3.06913690560e-13,
            ),
        ),
    ),
    "N": (
        Piece(
            0.0,
            (
                0.0,
                2.61591059620e-2,
                1.09574842280e-5,
                -9.38411115540e-8,
                -4.64120397590e-11,
                -2.63033577160e-12,
                -2.26534380030e-14,
                -7.60893007910e-17,
                -9.34196678350e-20,
            ),
        ),
        Piece(
            1300.0,
            (
                0.0,
                2.59293946010e-2,
                1.57101418800e-5,
                4.38256272370e-8,
                -2.52611697940e-10,
                6.43118193390e-13,
                -1.00634715190e-15,
                9.97453389920e-19,
                -6.08632456070e-22,
                2.08492293390e-25,
                -3.06821961510e-29,
            ),
        ),
    ),
    "T": (
        Piece(
            0.0,
            (
                0.0,
                3.87481063640e-2,
                4.41944343470e-5,
                1.18443231050e-7,
                2.00329735540e-8,
                9.01380195590e-10,
                2.26511565930e-11,
                3.60711542050e-13,
                3.84939398830e-15,
                2.82135219250e-17,
                1.42515947790e-19,
                4.87686622860e-22,
                1.07955392700e-24,
                1.39450270620e-27,
                7.97951539270e-31,
            ),
        ),
        Piece(
            400.0,
            (
                0.0,
                3.87481063640e-2,
                3.32922278800e-5,
                2.06182434040e-7,
                -2.18822568460e-9,
                1.09968809280e-11,
                -3.08157587720e-14,
                4.54791352900e-17,
                -2.75129016730e-20,
            ),
        ),
    ),
}
"""NIST SRD 60, direct coefficients, as printed there to twelve digits."""
