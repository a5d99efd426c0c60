"""How fast a pot loses water, before boiling and while it boils.

Below boiling, water leaves an open surface by the vapour-pressure law with a Stefan flow: proportional to
ln((p - p_a) / (p - p_s)). While boiling, the heat that reaches the pot leaves as steam. How much heat that is, per
gram of fuel, is learnt on the ramp of the same visit: `share = heat into the pot / (latent heat x fuel loss)`, the
grams of steam that a gram of fuel will raise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from emberline.bench.air import saturation_pressure_pa
from emberline.bench.water import heat_capacity_j_gk, latent_heat_j_g

Array = NDArray[np.float64]

OPEN_POT_G_S = 5.2 / 60.0
"""Coefficient of the vapour-pressure law for an open 15 cm pot, g/s. It gives 1.1 g/min at 60 °C, 3.2 at 80 °C and
6.0 at 90 °C, the middle of a mass-transfer estimate with 5-10 W/(m² K) of natural convection."""
WATER_IN_15_CM_G = 1_300.0
"""Water that half fills such a pot as deep as it is wide."""
OPEN_POT_REL_U = 0.35
"""Its relative standard uncertainty: pots of 12 to 20 cm, still air to a breeze."""
LID_FACTOR = 0.15
"""Share of an open pot's loss below boiling that passes a lid (common practice, no source)."""
LID_REL_U = 0.5
"""Relative standard uncertainty of the coefficient with a lid."""
CHAR_RATIO = 1.3
"""Steam raised per gram of glowing char over that per gram of flaming fuel: twice the heat, reaching the pot by
radiation rather than by flame."""
CHAR_RATIO_U = 0.4
"""Its standard uncertainty."""
SHARE_WITHOUT_RAMP = 1.6
"""Grams of steam a gram of fuel when no ramp was seen: 28 % of 13.2 kJ/g over 2.257 kJ/g."""
SHARE_WITHOUT_RAMP_REL_U = 0.35
"""Its relative standard uncertainty."""
SHARE_REL_U = 0.12
"""Relative standard uncertainty of the share's constancy from ramp to boil, beyond the noise of its estimate."""
_VAPOUR_IN_AIR_PA = 1_200.0


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


@dataclass(frozen=True, slots=True)
class SteamShare:
    """Grams of steam that a gram of flaming fuel raises.

    Attributes:
        value: The share.
        u: Its standard uncertainty.
        words: Where it comes from.
    """

    value: float
    u: float
    words: str


def steam_share(
    water_c: Array,
    loss_rate_g_s: Array,
    window: tuple[int, int],
    water_g: UFloat | None,
    pot_j_k: UFloat | None,
    sub_boiling_g_s: Array,
) -> SteamShare:
    """Learn from a ramp how much steam a gram of fuel will raise.

    Args:
        water_c: (n,) smoothed water temperature.
        loss_rate_g_s: (n,) rate of loss of all that stands on the cell.
        window: Seconds of the ramp, from the pot being set down to its boil or to the end of the visit.
        water_g: Water in the pot; None where nobody knows.
        pot_j_k: Heat capacity of the empty pot; None where unknown.
        sub_boiling_g_s: (n,) water's own loss below boiling.
    """
    default = SteamShare(
        SHARE_WITHOUT_RAMP, SHARE_WITHOUT_RAMP * SHARE_WITHOUT_RAMP_REL_U, "a usual share, as no ramp could be read"
    )
    if water_g is None:
        return default
    low, high = window
    low += 8
    t = np.arange(low, high, dtype=np.float64)
    c = water_c[low:high]
    good = np.isfinite(c) & np.isfinite(loss_rate_g_s[low:high]) & (c > 40.0)
    if good.sum() < 30:
        good = np.isfinite(c) & np.isfinite(loss_rate_g_s[low:high])
    if good.sum() < 30:
        return default
    # The last two minutes of the ramp are nearest to what boiling will see.
    keep = np.flatnonzero(good)[-150:]
    rise_k = float(np.polyval(np.polyfit(t[keep], c[keep], 1), [t[keep[0]], t[keep[-1]]]) @ np.array([-1.0, 1.0]))
    seconds = float(t[keep[-1]] - t[keep[0]])
    if rise_k < 2.0 or seconds < 20.0:
        return default
    mean_c = float(np.mean(c[keep]))
    capacity = float(water_g.nominal_value) * float(heat_capacity_j_gk(mean_c))
    pot = float(pot_j_k.nominal_value) if pot_j_k is not None else 0.08 * capacity
    u_pot = float(pot_j_k.std_dev) if pot_j_k is not None else 0.05 * capacity
    latent = float(latent_heat_j_g(mean_c))
    own = float(np.mean(sub_boiling_g_s[low:high][keep]))
    fuel = float(np.mean(loss_rate_g_s[low:high][keep])) - own
    if fuel <= 0.005:
        return default
    heating_w = (capacity + pot) * rise_k / seconds
    value = (heating_w / latent + own) / fuel
    u_own = OPEN_POT_REL_U * own
    relative = np.sqrt(
        (u_pot / (capacity + pot)) ** 2
        + (u_own * (1.0 / (heating_w / latent + own) + 1.0 / fuel)) ** 2
        + (float(water_g.std_dev) / float(water_g.nominal_value)) ** 2
        + SHARE_REL_U**2
    )
    if not 0.05 < value < 6.0:
        return default
    words = f"the ramp's last {seconds:.0f} s, where {heating_w:.0f} W warmed the pot"
    return SteamShare(value, float(value * relative), words)
