"""`boil`: where the water's ramp meets its plateau, and whether that plateau is boiling.

A plateau is looked for near the local boiling temperature (`curves.plateau`), its knee is dated by the likelihood of a
ramp that ends there (`curves.knee`) and by the steam that leaves from then on (`curves.steam`). Whether it is boiling
is weighed: the level against the boiling temperature, the sharpness of the knee, since a pot whose losses eat its input
approaches its ceiling exponentially, and the jump of the mass loss (`curves.boil_odds`).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from emberline.curves.boil_odds import PRIOR, SURE, end_odds, level_odds, standing_odds
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Column
from emberline.curves.plateau import RAMP_S, Plateau, WaterProbe, find_plateau
from emberline.curves.robust import without_spikes
from emberline.curves.steam import steam_jump

__all__ = ["HOLD_LIVE_S", "HOLD_S", "WaterProbe", "find_boils", "judge"]

Array = NDArray[np.float64]

HOLD_S = 30
"""Seconds of plateau that the final pass wants to see."""
HOLD_LIFTED_S = 12
"""Seconds of plateau that are enough where the visit ends with it."""
HOLD_LIVE_S = 8
"""Seconds of plateau on which a live run speaks."""
SURE_U_K = 1.25
"""Standard uncertainty of the difference below which the thermometer alone confirms a boil."""
PAUSE_S = 20.0
"""Time in which a pause of the fire has ended, but for one in e: plateaus of boiling water last (ours)."""
AGREEMENT = 2.2
"""Distance between plateau and boiling temperature that still agrees, in standard uncertainties of their difference."""


def find_boils(
    water: Column,
    visits: Sequence[tuple[float, float]],
    boiling_point_c: UFloat,
    probe: WaterProbe,
    loss_rate_g_s: Array | None = None,
    *,
    hold_s: int = HOLD_S,
    prior: float = PRIOR,
    least_odds: float = 0.0,
) -> tuple[Event, ...]:
    """Find the first boil of every visit of the pot.

    Args:
        water: The water probe's column.
        visits: (start, end) of each stay of the pot, seconds; one pair over the whole record where nothing is known.
        boiling_point_c: Local boiling temperature.
        probe: The probe's uncertainty and lag.
        loss_rate_g_s: (n,) mass loss rate of all that stands on the cell, where the pot stands there too.
        hold_s: Seconds of plateau wanted.
        prior: Log odds that a plateau near that boiling temperature is boiling, before it is looked at.
        least_odds: Log odds wanted, those included that the time since has brought: a pause would have ended.
    """
    events = []
    value = without_spikes(water.value, floor=0.1)
    for start, end in visits:
        low, high = max(0, int(start)), min(len(value), int(np.ceil(end)))
        # Many a pot is lifted as soon as it boils: its plateau is short.
        looks = [(low, hold_s), (max(low, high - RAMP_S), HOLD_LIFTED_S)] if hold_s > HOLD_LIFTED_S else [(low, hold_s)]
        for begin, hold in looks:
            plateau = find_plateau(
                water.t_s[begin:high], value[begin:high], boiling_point_c, probe, hold, loss_rate_g_s
            )
            if plateau is not None:
                jump = steam_jump(loss_rate_g_s, plateau.t_s) if loss_rate_g_s is not None else None
                waited_s = high - plateau.t_s
                wanted = max(0.0, least_odds - waited_s / PAUSE_S)
                event = judge(plateau, boiling_point_c, probe, jump, prior, wanted)
                events += [event] if event is not None else []
                break
    return tuple(events)


def judge(
    plateau: Plateau,
    boiling_point_c: UFloat,
    probe: WaterProbe,
    jump: tuple[float, float] | None,
    prior: float = PRIOR,
    least_odds: float = 0.0,
) -> Event | None:
    """Decide whether a plateau is boiling, and how sure that is; None where it rather is not.

    Args:
        plateau: The plateau.
        boiling_point_c: Local boiling temperature.
        probe: The probe's uncertainty and lag.
        jump: Mass loss rate before and after, g/s; None where no load cell tells.
        prior: Log odds that it boils, before plateau and steam are looked at.
        least_odds: Log odds below which it rather is none.
    """
    u = float(np.hypot(probe.u_bias_k, boiling_point_c.std_dev))
    difference = plateau.level_c - boiling_point_c.nominal_value
    agrees = abs(difference) <= AGREEMENT * u
    end, shape = end_odds(plateau.sharpness, jump), end_odds(plateau.sharpness, None)
    steam = end - shape
    standing = standing_odds(plateau.wander_k)
    odds = prior + level_odds(plateau.level_c, boiling_point_c, probe.u_bias_k) + end + standing
    if odds < least_odds:
        return None
    told_by_probe = u <= SURE_U_K and end > -SURE / 2.0
    confirmed = odds > SURE and agrees and (told_by_probe or (shape > 0.0 and steam > 0.0))
    met = (
        f"ramp of {plateau.slope_k_s * 60:.1f} K/min met a plateau at {plateau.level_c:.1f} °C, "
        f"{abs(difference):.1f} K {'above' if difference >= 0 else 'below'} the local boiling point "
        f"{boiling_point_c.nominal_value:.1f} °C (standard uncertainty of the difference {u:.1f} K), "
        f"held {plateau.held_s:.0f} s"
    )
    words = [met]
    if jump is not None and steam > 0.0 and jump[1] > jump[0]:
        words.append(f"mass loss rose from {jump[0] * 60:.0f} to {jump[1] * 60:.0f} g/min as steam left")
    if shape > 0.0:
        words.append("the ramp ended sharply, which a pot that stalls does not show")
    if standing > 0.0:
        words.append("it stood as still as boiling water does, whatever the fire did")
    if not confirmed:
        if agrees:
            words.append("unconfirmed: the probe's uncertainty leaves room for a stall just below boiling")
        else:
            words.append(
                "unconfirmed: the plateau disagrees with the boiling point by more than the probe's uncertainty"
            )
    return Event(EventKind.BOIL, plateau.t_s, plateau.u_s, "; ".join(words), None, confirmed)
