"""Properties of liquid water between 0 and 110 degrees, and the round values that the protocols prescribe."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Values = TypeVar("Values", float, NDArray[np.float64])

HEAT_CAPACITY_WBT_J_GK = 4.186
"""Heat capacity of water in the Water Boiling Test 4.2.3."""
LATENT_HEAT_WBT_J_G = 2260.0
"""Latent heat of water in the efficiency of the Water Boiling Test 4.2.3."""
LATENT_HEAT_MOISTURE_WBT_J_G = 2257.0
"""Latent heat of the fuel's moisture in the Water Boiling Test 4.2.3."""
HEAT_CAPACITY_ISO_J_GK = 4.18
"""Heat capacity of water in ISO 19867-1:2018."""
LATENT_HEAT_ISO_J_G = 2260.0
"""Latent heat of water in ISO 19867-1:2018."""

_HEAT_CAPACITY = (4.218729, -2.985009e-3, 8.603932e-5, -1.258785e-6, 9.951202e-9, -3.000151e-11)
_LATENT_HEAT = (2500.930, -2.375792, 5.633798e-4, -1.252247e-5)


def heat_capacity_j_gk(t_c: Values) -> Values:
    """Isobaric heat capacity of liquid water at saturation, J per gram and kelvin.

    Polynomial fitted to IAPWS-IF97 from 0 to 110 degrees; it departs by 0.0012 J/(g K) at most.
    """
    return _polynomial(_HEAT_CAPACITY, t_c)


def latent_heat_j_g(t_c: Values) -> Values:
    """Heat of evaporation of water at saturation, J per gram.

    Polynomial fitted to IAPWS-IF97 from 0 to 110 degrees; it departs by 0.04 J/g at most.
    """
    return _polynomial(_LATENT_HEAT, t_c)


def _polynomial(coefficients: tuple[float, ...], x: Values) -> Values:
    result = x * 0.0 + coefficients[-1]
    for coefficient in reversed(coefficients[:-1]):
        result = result * x + coefficient
    return result
