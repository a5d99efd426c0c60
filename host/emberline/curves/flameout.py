"""`flameout`: the end of visible flame, from the burning rate and, where fitted, a flame probe.

From the load cell alone the end of fast mass loss is all that can be seen: a pyrolysis without flame looks the same,
and the uncertainty says so. Flame is taken to end half-way between where the rate has sunk to that of the first ends of
flame that were observed and the foot of its fall, from which on only char glows; over bright char some seconds later.
Flames scatter about it, the more the slower the fall. A flame probe narrows it: the end of flame is where its fall
begins that never recovers.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from emberline.curves.events import Event, EventKind
from emberline.curves.fast_loss import KNOCK_S, LOW_SHARE, Fall, averaged, final_fall, flaming_level
from emberline.curves.flame_probe import LATELY_S, SETTLED_S, Drop, flame_drop
from emberline.curves.flicker import STILL_SHARE, still_flickers
from emberline.curves.grid import Column
from emberline.curves.pot_cools import Turn
from emberline.curves.veiled_fall import HIDDEN_S, veiled_fall

Array = NDArray[np.float64]

AGREES = 3.0
"""Distance at which water that turned to cooling still means the same end as the load, in standard uncertainties."""
U_FALL_SHARE = 0.25
"""Standard uncertainty of the end of flame on a fall that is seen to its end, as a share of the fall's length."""
BRIGHT_SHARE, U_BRIGHT_SHARE = 0.15, 0.6
"""Share of the flaming level above which char glows brightly, and that uncertainty there: flames flicker on over it, in
29 cone-calorimeter burns of one timber for half of the fall's length, in 24 of other woods not at all (medians)."""
OUTLIVES_S = 10.0
"""By how much they outlive it there, between these two."""
LEAST_SEEN_S = 60.0
"""A tail that was seen for as long as its fall lasted, but for so many seconds at least, is known to be level."""
YET_TO_SINK, U_YET_TO_SINK = 0.25, 0.8
"""By how much of its length a fall ends later whose tail has hardly been seen, since a rate that still sinks passes for
a level at first; and its standard uncertainty."""
U_SHOULDER_SHARE = 0.2
"""The same of the time until the rate has come down to what it is later: a shoulder may be a low flame, but mostly is
bright char."""
U_LEAST_S = 30.0
"""Scatter of the end of flame about the end of fast loss however sharp that is, s."""
GLOW_C = 120.0
"""Temperature that only a probe over a fire or its char keeps; one that lost its place or its lead soon reads less."""
U_STEAM_S = 30.0
"""Further scatter where steam had to be taken off the rate, s."""
MASS_ONLY_WORDS = "seen from the load cell alone: this is the end of fast mass loss, which need not be the end of flame"


@dataclass(frozen=True, slots=True)
class Stands:
    """A pot over the fire.

    Attributes:
        until_s: When it was lifted, or the record's end.
        unknown: Whether nobody knows the temperature of its water, so that its steam is still in the rate.
        hot_s: When its water had come to its hottest, but for a kelvin: until then a fire burnt. 0 where nobody knows.
    """

    until_s: float
    unknown: bool
    hot_s: float = 0.0


def find_flameout(
    rate_g_s: Array,
    lit_s: float | None,
    refuels_s: Sequence[float],
    flame: Column | None,
    *,
    u_rate_g_s: Array | None = None,
    flame_lag_s: float = 0.0,
    steaming: NDArray[np.bool_] | None = None,
    turn: Turn | None = None,
    stands: Stands | None = None,
) -> Event | None:
    """Find the end of flame in a record, or None where the fire still burns at its end or never burnt.

    Args:
        rate_g_s: (n,) burning rate of the fuel, water's share taken off; NaN where unknown.
        lit_s: When the fuel caught; None where the record began mid-burn.
        refuels_s: Moments of refuelling.
        flame: The flame probe's column, where fitted.
        u_rate_g_s: (n,) standard uncertainty of the burning rate; None where it is small.
        flame_lag_s: Its time constant.
        steaming: (n,) bool, seconds in which boiling water's loss was taken off the rate.
        turn: Where the water of a pot over the fire turned to cooling.
        stands: The pot that stood over the fire last; None where there was none, or it stood on another cell.
    """
    fall = _fall(rate_g_s, lit_s, refuels_s, u_rate_g_s, stands)
    share = averaged(rate_g_s, 15) / fall.flaming_g_s if fall is not None else None
    drop = flame_drop(flame, lit_s, share, flame_lag_s) if flame is not None else None
    if drop is not None and not _believable(drop, fall, rate_g_s, lit_s):
        drop = None
    if drop is not None:
        event, since_s = _from_flame(drop, fall), drop.t_s + SETTLED_S
    elif fall is not None:
        # Where the record soon ends, its last readings tell.
        event, since_s = _from_mass(fall, steaming, turn), min(fall.foot_s, len(rate_g_s) - LATELY_S)
        # What a record shows to be over was so by its end, wherever its fall would have led.
        event = replace(event, t_s=min(event.t_s, float(len(rate_g_s))))
    else:
        return None
    # A flame that the probe still sees has not ended, however little it burns.
    return None if flame is not None and still_flickers(flame, lit_s, since_s) else event


def _fall(
    rate_g_s: Array, lit_s: float | None, refuels_s: Sequence[float], u_rate_g_s: Array | None, stands: Stands | None
) -> Fall | None:
    """Find the end of fast loss: on a level tail or, where a pot's steam may be in the rate, on one that sinks."""
    if stands is None:
        return final_fall(rate_g_s, lit_s, refuels_s, u_rate_g_s)
    veiled = veiled_fall(rate_g_s, lit_s, refuels_s, stands.until_s) if stands.unknown else None
    if veiled is not None:
        return veiled
    plain = final_fall(rate_g_s, lit_s, refuels_s, u_rate_g_s, stands.until_s if stands.unknown else None)
    as_lifted = plain is not None and plain.half_s - KNOCK_S < stands.until_s < plain.foot_s + KNOCK_S
    if stands.unknown and plain is not None and as_lifted:
        # The flame may have ended long before: the pot's steam hid it.
        return replace(plain, blurred_s=float(np.hypot(plain.blurred_s, HIDDEN_S)))
    if stands.unknown or (plain is not None and not as_lifted):
        return plain
    # What falls as the pot is lifted may be steam that was taken for fuel.
    veiled = veiled_fall(rate_g_s, lit_s, refuels_s, stands.until_s)
    return veiled if veiled is not None and veiled.foot_s > stands.hot_s else plain


def _believable(drop: Drop, fall: Fall | None, rate_g_s: Array, lit_s: float | None) -> bool:
    """Tell whether a flame probe's fall is the flame's and not the probe's own, by the mass that went on leaving.

    That is asked where the probe went cold. One that still stands over glowing char and flickers no more stands in no
    flame, whatever leaves: a hot pot goes on losing water for as long as a fire burnt.
    """
    glows = drop.after_c > GLOW_C and drop.calm_k < STILL_SHARE * drop.flicker_k
    if glows or not np.isfinite(rate_g_s).any():
        return True
    level = flaming_level(rate_g_s, int(lit_s or 0), len(rate_g_s))
    after = rate_g_s[int(drop.t_s) + 20 : int(drop.t_s) + 320]
    if fall is None:
        # The load cell has seen no end (yet): only a rate that has clearly sunk makes the probe believable.
        return len(after) > 10 and float(np.nanmedian(after)) < LOW_SHARE * level
    return fall.half_s - 120.0 <= drop.t_s or float(np.nanmedian(after)) < LOW_SHARE * level


def _from_flame(drop: Drop, fall: Fall | None) -> Event:
    words = (
        f"flame probe fell from {drop.hot_c:.0f} to {drop.after_c:.0f} °C, its flicker from {drop.flicker_k:.0f} to "
        f"{drop.calm_k:.0f} K"
    )
    u_s = drop.u_s
    if fall is not None:
        by_mass_s, u_mass_s = _end_of_loss(fall)
        words += f"; mass loss {_in_words(fall)}, its end {_from_then(by_mass_s - drop.t_s)}"
        # Two witnesses that disagree by more than they should each know less than they say.
        apart = (drop.t_s - by_mass_s) / float(np.hypot(u_s, u_mass_s))
        u_s *= max(1.0, abs(apart))
    return Event(EventKind.FLAMEOUT, drop.t_s, u_s, words)


def _from_then(by_s: float) -> str:
    """Say when something was, seconds from the event that the words are about."""
    whole = round(by_s)
    return "at the same time" if whole == 0 else f"{abs(whole)} s {'later' if whole > 0 else 'before'}"


def _from_mass(fall: Fall, steaming: NDArray[np.bool_] | None, turn: Turn | None) -> Event:
    t_s, u_s = _end_of_loss(fall)
    words = f"mass loss {_in_words(fall)}, the fall ending {_from_then(fall.foot_s - t_s)}; {MASS_ONLY_WORDS}"
    if turn is not None and abs(turn.t_s - t_s) < AGREES * float(np.hypot(turn.u_s, u_s)):
        # Two witnesses of one end, each by its own weight; where they disagree, neither is sure to be the better.
        by_load, apart_s = turn.u_s**2 / (turn.u_s**2 + u_s**2), abs(turn.t_s - t_s)
        t_s = by_load * t_s + (1.0 - by_load) * turn.t_s
        u_s = max(u_s * by_load**0.5, apart_s / 2.0)
        words += f"; the pot's water turned from {turn.before_k_s * 60:+.1f} to {turn.after_k_s * 60:+.1f} K/min"
    k = int(t_s)
    if steaming is not None and 0 <= k < len(steaming) and steaming[max(0, k - 60) : k + 1].any():
        u_s = float(np.hypot(u_s, U_STEAM_S))
        words += "; water was boiling away on the same cell"
    return Event(EventKind.FLAMEOUT, t_s, u_s, words, None, False)


def _in_words(fall: Fall) -> str:
    return f"fell from {fall.flaming_g_s * 60:.1f} to {fall.tail_g_s * 60:.1f} g/min"


def _end_of_loss(fall: Fall) -> tuple[float, float]:
    """Return the end of flame as the load cell alone shows it, and its standard uncertainty, seconds."""
    seen = min(1.0, fall.seen_tail_s / max(fall.length_s, LEAST_SEEN_S))
    unseen_s = (1.0 - seen) * fall.length_s
    bright = not fall.veiled and fall.tail_g_s > BRIGHT_SHARE * fall.flaming_g_s
    outlives_s = OUTLIVES_S if bright else 0.0
    t_s = 0.5 * (fall.foot_s + fall.sunk_s) + outlives_s + YET_TO_SINK * unseen_s
    spreads_s = (
        (U_BRIGHT_SHARE if bright else U_FALL_SHARE) * fall.length_s,
        U_YET_TO_SINK * unseen_s,
        0.5 * (fall.foot_s - fall.sunk_s),
        U_SHOULDER_SHARE * max(0.0, fall.settled_s - t_s),
        U_LEAST_S,
        fall.blurred_s,
    )
    return t_s, float(np.linalg.norm(spreads_s))
