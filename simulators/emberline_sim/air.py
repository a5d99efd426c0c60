"""Air and steam: pressure at an altitude, vapour pressure, boiling point, latent heat, gusty wind."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

CRITICAL_K = 647.096
CRITICAL_PA = 22.064e6
_SATURATION = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
GAS_CONSTANT_J_MOLK = 8.314462618
WATER_KG_MOL = 0.018015268


def pressure_at_altitude_pa(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere, Pa (ISO 2533, troposphere)."""
    return 101325.0 * math.pow(1.0 - 0.0065 * altitude_m / 288.15, 5.25588)


def saturation_pressure_pa(t_c: float) -> float:
    """Return the vapour pressure of water, Pa.

    Wagner and Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, equation 1: the saturation line of IAPWS-95, chosen here
    because it is independent of the IAPWS-IF97 equations that a host may use.
    """
    t_k = t_c + 273.15
    theta = 1.0 - t_k / CRITICAL_K
    total = sum(a * math.pow(theta, n) for a, n in _SATURATION)
    return CRITICAL_PA * math.exp(CRITICAL_K / t_k * total)


def boiling_point_c(pressure_pa: float) -> float:
    """Return the temperature at which the vapour pressure of water equals `pressure_pa`, by bisection to 1e-6 K."""
    low, high = 1.0, 200.0
    while high - low > 1e-6:
        middle = 0.5 * (low + high)
        if saturation_pressure_pa(middle) < pressure_pa:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def latent_heat_j_g(t_c: float) -> float:
    """Return the heat of vaporisation of water, J/g: a parabola through IAPWS values at 20, 60 and 100 °C."""
    return 2499.375 - 2.26 * t_c - 0.0016875 * t_c * t_c


def evaporation_flux_g_m2s(
    surface_c: float, ambient_c: float, humidity: float, pressure_pa: float, h_w_m2k: float
) -> float:
    """Return the mass flux of steam from an open water surface, g/(m2 s).

    Film theory with Stefan flow, the mass-transfer coefficient by the Chilton-Colburn analogy from the heat-transfer
    coefficient `h_w_m2k` of the air over the surface (Incropera, Fundamentals of Heat and Mass Transfer, sections 6.7
    and 14.4; equations from memory). The surface's vapour pressure is held at 99 % of the air pressure at most: from
    there on the heat that arrives, not diffusion, sets the rate.
    """
    film_k = 0.5 * (surface_c + ambient_c) + 273.15
    air_kg_m3 = pressure_pa * 0.02896 / (GAS_CONSTANT_J_MOLK * film_k)
    lewis = 0.85
    mass_transfer_m_s = h_w_m2k / (air_kg_m3 * 1007.0 * math.pow(lewis, 2.0 / 3.0))
    at_surface = min(saturation_pressure_pa(surface_c), 0.99 * pressure_pa)
    in_air = humidity * saturation_pressure_pa(ambient_c)
    drive = math.log((pressure_pa - in_air) / (pressure_pa - at_surface))
    concentration_kg_m3 = pressure_pa * WATER_KG_MOL / (GAS_CONSTANT_J_MOLK * film_k)
    return max(0.0, 1000.0 * mass_transfer_m_s * concentration_kg_m3 * drive)


def wandering(n: int, step_s: float, memory_s: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return (n,) samples of a stationary process of unit variance that forgets itself over `memory_s`.

    The exact discrete form of an Ornstein-Uhlenbeck process at a spacing of `step_s`.
    """
    keep = math.exp(-step_s / memory_s)
    kicks = rng.normal(0.0, math.sqrt(1.0 - keep * keep), n)
    if n:
        kicks[0] = rng.normal()
    return np.asarray(lfilter([1.0], [1.0, -keep], kicks), dtype=np.float64)


def wind_m_s(n: int, step_s: float, mean_m_s: float, gustiness: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return (n,) wind speeds: lognormal gusts of a few seconds on a slow swell of a minute.

    Args:
        n: Number of steps.
        step_s: Spacing of the steps.
        mean_m_s: Mean speed.
        gustiness: Standard deviation over mean (turbulence intensity; 0.2 to 0.5 near the ground, common practice).
        rng: Source of chance.

    """
    if mean_m_s == 0.0:
        return np.zeros(n)
    spread = math.sqrt(math.log(1.0 + gustiness * gustiness))
    swing = 0.8 * wandering(n, step_s, 3.0, rng) + 0.6 * wandering(n, step_s, 45.0, rng)
    return np.asarray(mean_m_s * np.exp(spread * swing - 0.5 * spread * spread), dtype=np.float64)
