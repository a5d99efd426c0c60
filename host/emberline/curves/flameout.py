"""`flameout`: the end of visible flame, from the burning rate and, where fitted, a flame probe.

Two regimes. While flaming, the rate stays near a level; then it declines to that of glowing char, which is not zero. The
decline is modelled as a straight fall that ends at a foot on a level tail, and the foot is found by least squares over
every candidate second. Observed flameouts in cone-calorimeter burns of wood lie near that foot, when the rate has fallen
to 9-20 % of its flaming level. From the load cell alone the end of fast mass loss is all that can be seen: a
pyrolysis without flame looks the same, and the uncertainty says so. A flame probe narrows it: the end of flame is where
its fall begins that never recovers.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Column
from emberline.curves.robust import profile, runs, without_spikes

Array = NDArray[np.float64]

LOW_SHARE = 0.35
"""Share of the flaming level below which the rate may mean the end."""
RECOVERY_SHARE = 0.5
"""Share of the flaming level at which a fire that had sunk is burning again."""
CHAR_SHARE = 0.3
"""Largest share of the flaming level at which a tail still passes for char."""
LEAST_FLAMING_S = 45
"""Shortest stretch of flame that makes a burn."""
TAIL_S = 25
"""Seconds of tail after the foot before a live run speaks."""
REFUEL_GRACE_S = 180
"""Seconds after a refuel in which a sunken fire is waited for: cold fuel smothers a flame for up to a minute, and moist
fuel longer."""
FALL_TAUS_S = (3.0, 7.0, 15.0, 35.0)
"""Time constants tried for a flame probe's fall, s: from a bare bead to a sheath of 3 mm."""
MASS_ONLY_WORDS = "seen from the load cell alone: this is the end of fast mass loss, which need not be the end of flame"


@dataclass(frozen=True, slots=True)
class Fall:
    """The final decline of the burning rate.

    Attributes:
        half_s: When the rate last fell through half of its flaming level.
        foot_s: Where the fall meets the tail.
        u_foot_s: Standard uncertainty of the foot from the fit.
        flaming_g_s: The flaming level.
        tail_g_s: The level of the tail.
        seen_tail_s: For how long the tail was seen.
    """

    half_s: float
    foot_s: float
    u_foot_s: float
    flaming_g_s: float
    tail_g_s: float
    seen_tail_s: float


def find_flameout(
    rate_g_s: Array,
    lit_s: float | None,
    refuels_s: Sequence[float],
    flame: Column | None,
    *,
    flame_lag_s: float = 0.0,
    steaming: Array | None = None,
) -> Event | None:
    """Find the end of flame in a record, or None where the fire still burns at its end or never burnt.

    Args:
        rate_g_s: (n,) burning rate of the fuel, water's share taken off; NaN where unknown.
        lit_s: When the fuel caught; None where the record began mid-burn.
        refuels_s: Moments of refuelling.
        flame: The flame probe's column, where fitted.
        flame_lag_s: Its time constant.
        steaming: (n,) bool, seconds in which boiling water's loss was taken off the rate.
    """
    fall = final_fall(rate_g_s, lit_s, refuels_s)
    drop = flame_drop(flame, lit_s, fall, flame_lag_s) if flame is not None else None
    if fall is None and drop is None:
        return None
    if drop is not None:
        t_s, u_s, words = drop
        if fall is not None:
            words += (
                f"; mass loss fell from {fall.flaming_g_s * 60:.1f} to {fall.tail_g_s * 60:.1f} g/min by "
                f"{fall.foot_s:.0f} s"
            )
            gap = abs(t_s - fall.foot_s)
            if gap > 3.0 * float(np.hypot(u_s, _u_mass(fall))):
                u_s = float(np.hypot(u_s, 0.3 * gap))
        return Event(EventKind.FLAMEOUT, t_s, u_s, words)
    assert fall is not None
    u_s = _u_mass(fall)
    words = (
        f"mass loss fell from {fall.flaming_g_s * 60:.1f} to {fall.tail_g_s * 60:.1f} g/min, the fall ending at "
        f"{fall.foot_s:.0f} s; {MASS_ONLY_WORDS}"
    )
    k = int(fall.foot_s)
    if steaming is not None and 0 <= k < len(steaming) and steaming[max(0, k - 60) : k + 1].any():
        u_s = float(np.hypot(u_s, 6.0))
        words += "; water was boiling away on the same cell"
    return Event(EventKind.FLAMEOUT, fall.foot_s, u_s, words, None, False)


def _u_mass(fall: Fall) -> float:
    """Return the standard uncertainty of a flameout from the foot of the fall alone.

    Observed ends of flame scatter about the foot by a share of the fall's own length, and by some seconds in any case.
    """
    length = max(fall.foot_s - fall.half_s, 0.0)
    unseen = max(0.0, TAIL_S - fall.seen_tail_s)
    return float(np.sqrt(fall.u_foot_s**2 + (0.35 * length) ** 2 + 6.0**2 + (0.5 * unseen) ** 2))


def flaming_level(rate_g_s: Array, low: int, high: int) -> float:
    """Return the level of flaming in a stretch of the record, g/s: the median of the rates above a third of the highest."""
    piece = rate_g_s[max(0, low) : high]
    piece = piece[np.isfinite(piece)]
    if len(piece) == 0:
        return 0.0
    top = float(np.quantile(piece, 0.95))
    vigorous = piece[piece > top / 3.0]
    return float(np.median(vigorous)) if len(vigorous) else 0.0


def final_fall(rate_g_s: Array, lit_s: float | None, refuels_s: Sequence[float]) -> Fall | None:
    """Find the decline from which the burning rate does not recover, or None."""
    begin = int(lit_s) if lit_s is not None else 0
    n = len(rate_g_s)
    rate = _averaged(rate_g_s, 11)
    known = np.isfinite(rate)
    if known[begin:].sum() < LEAST_FLAMING_S:
        return None
    last_refuel = max((int(t) for t in refuels_s), default=begin)
    whole = flaming_level(rate, begin, n)
    recent = flaming_level(rate, max(begin, last_refuel), n)
    # After a late refuel the fire may never again reach its earlier level.
    level = recent if last_refuel > begin and recent > 0.4 * whole else whole
    if level <= 0:
        return None
    filled = np.interp(np.arange(n), np.flatnonzero(known), rate[known])
    burning = filled > RECOVERY_SHARE * level
    burning[:begin] = False
    stretches = [(a, b) for a, b in runs(burning) if b - a >= 10]
    if not stretches or sum(b - a for a, b in stretches) < LEAST_FLAMING_S:
        return None
    half = stretches[-1][1]
    if half >= n - 5 or not (filled[half:] < LOW_SHARE * level).any():
        return None
    return _foot(rate_g_s, half, level)


def _foot(rate_g_s: Array, half: int, level: float) -> Fall | None:
    """Fit the straight fall and the level tail from the moment of half rate on."""
    n = len(rate_g_s)
    start = half
    while start > 0 and half - start < 300 and not rate_g_s[start - 1] > 0.85 * level:
        start -= 1
    end = min(n, half + max(180, 6 * (half - start)))
    t = np.arange(half - (half - start) // 2, end, dtype=np.float64) + 0.5
    r = rate_g_s[int(t[0]) : end]
    good = np.isfinite(r)
    t, r = t[good], r[good]
    if len(t) < 6:
        return None
    candidates = np.arange(half + 1.0, end, 1.0)
    cost = _foot_costs(t, r, candidates, level)
    best = int(np.argmin(cost))
    if not np.isfinite(cost[best]):
        return None
    foot = float(candidates[best])
    tail = r[t >= foot]
    tail_level = float(np.median(tail)) if len(tail) else float(r[-1])
    if tail_level > CHAR_SHARE * level:
        return None
    # The smoothed rate is correlated over about twenty seconds; so few of its points are independent.
    variance = float(cost[best]) / max(len(t) - 3, 1)
    within = candidates[cost <= cost[best] + 3.84 * 20.0 * variance]
    u = max(float(within[-1] - within[0]) / 3.92, 1.0)
    return Fall(float(half), foot, u, level, max(tail_level, 0.0), float(end - foot))


def _foot_costs(t: Array, r: Array, feet: Array, level: float) -> Array:
    """Return the misfit of a level tail joined at each foot by a straight fall; inf where that is no fall to char."""
    ahead = np.maximum(feet[:, None] - t[None, :], 0.0)
    cost, coefficients, _ = profile(np.stack((np.ones_like(ahead), ahead), axis=2), r)
    cost[(coefficients[:, 1] <= 0) | (coefficients[:, 0] > CHAR_SHARE * level)] = np.inf
    return cost


def _averaged(values: Array, width: int) -> Array:
    """Return the running mean over the finite values of a window; NaN where it holds none."""
    good = np.isfinite(values)
    kernel = np.ones(width)
    count = np.convolve(good.astype(float), kernel, "same")[: len(values)]
    total = np.convolve(np.where(good, values, 0.0), kernel, "same")[: len(values)]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0, total / count, np.nan))


def flame_drop(
    flame: Column, lit_s: float | None, fall: Fall | None, lag_s: float = 0.0
) -> tuple[float, float, str] | None:
    """Find where the flame probe's last fall begins: (moment, standard uncertainty, evidence), or None.

    The probe's flaming level and its level afterwards are separated by the split that leaves least variance; the fall
    is then located by a level, an exponential decline and its onset.
    """
    value = without_spikes(flame.value, floor=3.0)
    begin = int(lit_s) + 20 if lit_s is not None else 0
    finite = np.flatnonzero(np.isfinite(value))
    finite = finite[finite >= begin]
    if len(finite) < LEAST_FLAMING_S:
        return None
    t, v = flame.t_s[finite], value[finite]
    calm = np.asarray(_averaged(v, 7))
    flaming = float(np.quantile(calm, 0.85))
    if flaming < 200.0:
        return None  # the probe never stood in a flame
    if fall is None:
        return _lone_drop(t, v, calm, flaming, lag_s)
    near = (t > fall.half_s - 90.0) & (t < fall.foot_s + 150.0)
    if near.sum() < 20:
        return None
    return _onset_of_fall(t[near], v[near], lag_s, fall)


def _lone_drop(t: Array, v: Array, calm: Array, flaming: float, lag_s: float) -> tuple[float, float, str] | None:
    """Judge the flame probe alone, where no load cell speaks."""
    out = calm < 0.6 * flaming
    if not out[-1] or t[-1] - t[np.flatnonzero(~out)[-1]] < TAIL_S:
        return None
    last_hot = float(t[np.flatnonzero(~out)[-1]])
    near = (t > last_hot - 120.0) & (t < last_hot + 150.0)
    return _onset_of_fall(t[near], v[near], lag_s, None)


def _onset_of_fall(t: Array, v: Array, lag_s: float, fall: Fall | None) -> tuple[float, float, str] | None:
    """Fit level, onset and exponential decline to a flame probe's last fall."""
    step = max(1.0, float(np.median(np.diff(t))))
    onsets = np.arange(t[0] + 10.0, t[-1] - 8.0, step)
    if len(onsets) == 0:
        return None
    onset_of, tau_of = (grid.ravel() for grid in np.meshgrid(onsets, FALL_TAUS_S, indexing="ij"))
    since = t[None, :] - onset_of[:, None]
    decline = 1.0 - np.exp(-np.maximum(since, 0.0) / tau_of[:, None])
    costs, coefficients, _ = profile(np.stack((np.ones_like(since), np.minimum(since, 0.0), -decline), axis=2), v)
    costs[coefficients[:, 2] <= 0] = np.inf
    best = int(np.argmin(costs))
    cost = float(costs[best])
    if not np.isfinite(cost):
        return None
    onset, hot, drop = float(onset_of[best]), float(coefficients[best, 0]), float(coefficients[best, 2])
    noise = (cost / max(len(t) - 4, 1)) ** 0.5
    if drop < max(60.0, 4.0 * noise):
        return None
    # Flicker is correlated over some seconds: one independent value in about five.
    within = onset_of[costs <= cost + 3.84 * 5.0 * noise**2]
    u = float(np.hypot(max(float(within[-1] - within[0]) / 3.92, 1.0), 0.3 * min(lag_s, 20.0) + 2.0))
    words = f"flame probe fell from {hot:.0f} °C by {drop:.0f} K from {onset:.0f} s on"
    return onset, u, words
