"""How fast a pot loses water, before boiling and while it boils.

Below boiling, water leaves an open surface by the vapour-pressure law with a Stefan flow: proportional to
ln((p - p_a) / (p - p_s)). While boiling, the heat that reaches the pot leaves as steam. How much heat that is, per
gram of fuel, is learnt on the ramp of the same visit: `share = heat into the pot / (latent heat x fuel loss)`, the
grams of steam that a gram of fuel will raise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.air import saturation_pressure_pa
from emberline.bench.water import HEAT_CAPACITY_WBT_J_GK, latent_heat_j_g
from emberline.curves.robust import SlidingLines

Array = NDArray[np.float64]

OPEN_POT_G_S = 5.2 / 60.0
"""Coefficient of the vapour-pressure law for an open 15 cm pot, g/s. It gives 1.1 g/min at 60 °C, 3.2 at 80 °C and
6.0 at 90 °C, the middle of a mass-transfer estimate with 5-10 W/(m² K) of natural convection."""
WATER_IN_15_CM_G = 1_300.0
"""Water that half fills such a pot as deep as it is wide."""
OPEN_POT_REL_U = 0.5
"""Its relative standard uncertainty: 35 % for still air to a breeze, as much again for the surface, which for the same
water is 1.6 or 0.8 times as large in a pot that is a quarter or three quarters full."""
LID_FACTOR = 0.15
"""Share of an open pot's loss below boiling that passes a lid (common practice, no source)."""
LID_REL_U = 0.8
"""Relative standard uncertainty of the coefficient with a lid: a close one holds all, one ajar lets a third pass."""
CHAR_RATIO = 1.3
"""Steam raised per gram of glowing char over that per gram of flaming fuel: twice the heat, reaching the pot by
radiation rather than by flame."""
CHAR_RATIO_U = 0.4
"""Its standard uncertainty."""
WALL_W_K = 0.7
"""Heat lost through the wall of a 15 cm pot, W per kelvin above the air: some 0.06 m² at 10-12 W/(m² K)."""
WALL_U_W_K = 2.0
"""Half-width at half height of its Cauchy distribution. Hot gas along the wall cancels part of the loss; a breeze of
1 to 3 m/s takes 20 to 50 W/(m² K), 1 to 3 W/K of such a pot (handbook range of forced convection, from memory); bare
bottoms and wide pots reach beyond. Little is known of it beforehand, so far values are not ruled out."""
BELOW_REL_U = 0.2
"""Relative standard uncertainty of the vapour-pressure law's constancy, beyond the noise of its estimate: natural
convection above the water grows with the cube root of the difference in density, by 1.4 from 60 to 95 °C."""
STILL_RISING = 0.25
"""Share of a ramp's best slope below which it is no ramp any more."""
RAMP_PIECE_S = 20
"""Seconds over which one slope of a ramp is taken."""
SHARE_WITHOUT_RAMP = 1.6
"""Grams of steam a gram of fuel when no ramp was seen: 28 % of 13.2 kJ/g over 2.257 kJ/g."""
SHARE_WITHOUT_RAMP_REL_U = 0.35
"""Its relative standard uncertainty."""
SHARE_GROWS, U_SHARE_GROWS = 0.1, 0.1
"""By how much the share grows along a ramp, with standard uncertainty: moisture leaves first, and a stove that warms up
gives the pot more of each gram's heat (common practice, no source). It hides as much of what a hot pot loses, so that a
ramp cannot tell it."""
SHARE_REL_U = 0.12
"""Relative standard uncertainty of the share's constancy from the ramp's end to the boil's, beyond the noise of its
estimate. From a quarter to two thirds of a burn the heat per gram rises by 0.2 in slabs of wood (see
`firepower.HEAT_RISE`) and not at all behind a front."""
POT_SHARE = (0.08, 0.05)
"""Heat capacity of a pot over that of the water in it, with standard uncertainty, where nobody gives the pot's: 0.2 to
0.6 kg of steel at 0.49 J/(g K) around a litre or two (common practice, no source)."""
_VAPOUR_IN_AIR_PA = 1_200.0
_ROUNDS = 8


def vapour_drive(water_c: Array, pressure_pa: float) -> Array:
    """Return ln((p - p_a) / (p - p_s)) at each second, 0 where the water's temperature is unknown.

    The law diverges at boiling, where heat and not diffusion limits the loss, so it is held at 1 K below.
    """
    known = np.isfinite(water_c)
    t = np.clip(np.where(known, water_c, 20.0), 0.5, 120.0)
    p_s = np.minimum(saturation_pressure_pa(t), 0.965 * pressure_pa)
    drive = np.log((pressure_pa - _VAPOUR_IN_AIR_PA) / (pressure_pa - p_s))
    return np.asarray(np.where(known, np.maximum(drive, 0.0), 0.0))


def sub_boiling_coefficient(lid: bool, water_g: UFloat | None) -> tuple[float, float]:
    """Return the coefficient of the vapour-pressure law in g/s and its standard uncertainty.

    A pot as deep as it is wide and half full (common practice, no source) has a surface that goes with the two thirds
    power of its water: 1.3 kg in one of 15 cm.
    """
    size = 1.0
    if water_g is not None and water_g.nominal_value > 0:
        size = min(max((float(water_g.nominal_value) / WATER_IN_15_CM_G) ** (2.0 / 3.0), 0.2), 4.0)
    open_pot = OPEN_POT_G_S * size
    return (open_pot * LID_FACTOR, open_pot * LID_FACTOR * LID_REL_U) if lid else (open_pot, open_pot * OPEN_POT_REL_U)


def pot_capacity_j_k(given: UFloat | None, water_g: UFloat) -> UFloat:
    """Return the heat capacity of an empty pot, J/K: the plan's, else a usual share of its water's."""
    if given is not None:
        return given
    water_j_k = HEAT_CAPACITY_WBT_J_GK * float(water_g.nominal_value)
    return ufloat(POT_SHARE[0] * water_j_k, POT_SHARE[1] * water_j_k, "pot.heat_capacity_j_k")


@dataclass(frozen=True, slots=True, eq=False)
class PotHeat:
    """How a pot takes up and loses heat.

    Attributes:
        below_g_s: Coefficient of the vapour-pressure law.
        share: Grams of steam that the heat from a gram of flaming fuel would raise.
        wall_w_k: Heat lost through the wall, per kelvin above the air.
        covariance: (3, 3) of these three, in their order.
        words: Where they come from.
    """

    below_g_s: float
    share: float
    wall_w_k: float
    covariance: Array
    words: str


def expected_heat(lid: bool, water_g: UFloat | None) -> PotHeat:
    """Return what is expected of a pot before its ramp has been seen."""
    below, u_below = sub_boiling_coefficient(lid, water_g)
    size = sub_boiling_coefficient(False, water_g)[0] / OPEN_POT_G_S
    share, u_share = SHARE_WITHOUT_RAMP, SHARE_WITHOUT_RAMP * SHARE_WITHOUT_RAMP_REL_U
    wall, u_wall = WALL_W_K * size, WALL_U_W_K * size
    return PotHeat(
        below, share, wall, np.diag([u_below**2, u_share**2, u_wall**2]), "a usual share, as no ramp could be read"
    )


def heat_from_ramp(
    expected: PotHeat,
    water_c: Array,
    loss_rate_g_s: Array,
    drive: Array,
    window: tuple[int, int],
    water_g: UFloat | None,
    pot_j_k: UFloat | None,
    air_c: float,
) -> PotHeat:
    """Learn from a ramp how a pot takes up and loses heat.

    On the ramp, heat from the fuel warms water and pot, evaporates some water and leaks through the wall:
    `C dT/dt = s h (loss - k drive) - h k drive - U (T - T_air)`, with `s` the share, `k` the coefficient of the
    vapour-pressure law and `U` the wall's loss. That is linear in `s`, `(1 + s) k` and `U`; the three are fitted to the
    whole ramp together with what was expected of them. The share that is returned is that of the ramp's end.

    Args:
        expected: What is expected of the pot.
        water_c: (n,) smoothed water temperature.
        loss_rate_g_s: (n,) rate of loss of all that stands on the cell.
        drive: (n,) drive of the vapour-pressure law.
        window: Seconds of the ramp, from the pot being set down to its boil or to the end of the visit.
        water_g: Water in the pot; None where nobody knows.
        pot_j_k: Heat capacity of the empty pot; None where unknown.
        air_c: Temperature of the air.
    """
    if water_g is None:
        return expected
    low, high = window[0] + 10, window[1] - 3
    _, middle, mean_c, slope, _ = SlidingLines(water_c).window(
        np.arange(low, max(high - RAMP_PIECE_S, low), 5),
        np.arange(low, max(high - RAMP_PIECE_S, low), 5) + RAMP_PIECE_S,
    )
    if not np.isfinite(slope).any():
        return expected
    # Where the water hardly warms, heat, steam and wall can no longer be told from each other.
    with np.errstate(invalid="ignore"):
        good = slope > STILL_RISING * float(np.nanquantile(slope, 0.9))
    if good.sum() < 6:
        return expected
    at = np.clip(np.round(middle[good]).astype(int), 0, len(drive) - 1)
    mean_c, slope = mean_c[good], slope[good]
    if np.ptp(mean_c) < 8.0:
        return expected
    latent = float(latent_heat_j_g(float(np.clip(np.mean(mean_c), 1.0, 110.0))))
    pot = pot_capacity_j_k(pot_j_k, water_g)
    capacity = HEAT_CAPACITY_WBT_J_GK * float(water_g.nominal_value) + float(pot.nominal_value)
    heating = capacity * slope / latent
    lost_g = np.cumsum(loss_rate_g_s)[at]
    to_come = (lost_g[-1] - lost_g) / max(float(lost_g[-1] - lost_g[0]), 1.0)
    lost_g_s = loss_rate_g_s[at]
    columns = np.stack((lost_g_s * (1.0 - SHARE_GROWS * to_come), -drive[at], -(mean_c - air_c) / latent), axis=1)
    share_0, below_0 = expected.share, expected.below_g_s
    u_below, u_share, u_wall = np.sqrt(np.diag(expected.covariance))
    prior = np.array([share_0, (1.0 + share_0) * below_0, expected.wall_w_k])
    u_prior = np.array([u_share, np.hypot((1.0 + share_0) * u_below, below_0 * u_share), u_wall])
    weight, holds = 1.0, np.ones(3)
    for _ in range(_ROUNDS):
        hold = holds / u_prior**2
        normal = weight * columns.T @ columns + np.diag(hold)
        fitted = np.linalg.solve(normal, weight * columns.T @ heating + hold * prior)
        # A Cauchy prior for the wall, as the Gaussian one that has its slope here.
        holds[2] = 2.0 / (1.0 + ((fitted[2] - prior[2]) / u_prior[2]) ** 2)
        residual = heating - columns @ fitted
        # Pieces overlap and a flame wanders over minutes: one independent value in about six.
        weight = 1.0 / (6.0 * max(float(np.mean(residual**2)), 1e-8))
    share, through, wall = (float(value) for value in fitted)
    if not 0.05 < share < 6.0:
        return expected
    below = max(through / (1.0 + share), 0.05 * below_0)
    jacobian = np.array([[-below / (1.0 + share), 1.0 / (1.0 + share), 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    grown = np.linalg.solve(normal, weight * columns.T @ (share * U_SHARE_GROWS * to_come * lost_g_s))
    covariance = jacobian @ (np.linalg.inv(normal) + np.outer(grown, grown)) @ jacobian.T
    covariance[0, 0] += (BELOW_REL_U * below) ** 2
    capacity_rel_u = np.hypot(pot.std_dev / capacity, float(water_g.std_dev) / float(water_g.nominal_value))
    covariance[1, 1] += (np.hypot(SHARE_REL_U, capacity_rel_u) * share) ** 2
    words = f"what the ramp from {mean_c.min():.0f} to {mean_c.max():.0f} °C tells"
    return PotHeat(below, share, max(wall, 0.0), covariance, words)
