"""`flameout`: the end of visible flame, from the burning rate and, where fitted, a flame probe.

Two regimes. While flaming, the rate stays near a level; then it declines to that of glowing char, which is not zero.
The decline is modelled as a straight fall that ends at a foot on a level tail, and the foot is found by least squares
over every candidate second. Observed flameouts in cone-calorimeter burns of wood lie near that foot, when the rate has
fallen to 9-20 % of its flaming level. From the load cell alone the end of fast mass loss is all that can be seen: a
pyrolysis without flame looks the same, and the uncertainty says so. A flame probe narrows it: the end of flame is where
its fall begins that never recovers.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

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
FLAMEOUT_SHARE = 0.15
"""Share of the flaming level at which flame ends: the middle of the 9-20 % at which it was seen to end in
cone-calorimeter burns of wood."""
U_FLAMEOUT_SHARE = 0.05
"""Standard uncertainty of that share."""
CORRELATED = (5.0, 40.0)
"""Fewest and most readings of a flame probe that make one independent value."""
LEAST_RATE_G_S = 0.01
"""Slowest flaming that is believed, g/s: a load cell that drifts or warms is no fire."""
KNOCK_S = 20
"""Reach of a knock in the smoothed rate."""
LEAST_STRETCH_S = 20
"""Shortest stretch of fast loss that is flame and not a knock on the cell."""
LEAST_FLAMING_S = 45
"""Shortest stretch of flame that makes a burn."""
TAIL_S = 25
"""Seconds of tail after the foot before a live run speaks."""
REFUEL_GRACE_S = 180
"""Seconds after a refuel in which a sunken fire is waited for: cold fuel smothers a flame for up to a minute, and moist
fuel longer."""
FALL_TAUS_S = (4.0, 12.0, 35.0)
"""Time constants tried for a flame probe's fall, s: from a bare bead to a sheath of 3 mm."""
FLAME_C = 200.0
"""Temperature below which a probe never stood in a flame."""
LEAST_DROP_K = 40.0
"""Least fall of a flame probe that tells flame from afterglow."""
LEAST_DROP_SHARE = 0.12
"""The same as a share of its flaming temperature."""
MASS_ONLY_WORDS = "seen from the load cell alone: this is the end of fast mass loss, which need not be the end of flame"


@dataclass(frozen=True, slots=True)
class Fall:
    """The final decline of the burning rate.

    Attributes:
        half_s: When the rate last fell through half of its flaming level.
        foot_s: Where the fall meets the tail.
        end_s: The end of flame as the rate alone shows it: when it passes `FLAMEOUT_SHARE` of the flaming level, or the
            foot where glowing char alone gives more than that.
        flaming_g_s: The flaming level.
        tail_g_s: The level of the tail.
        seen_tail_s: For how long the tail was seen.
    """

    half_s: float
    foot_s: float
    end_s: float
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
    steaming: NDArray[np.bool_] | None = None,
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
    share = _averaged(rate_g_s, 15) / fall.flaming_g_s if fall is not None else None
    drop = flame_drop(flame, lit_s, share, flame_lag_s) if flame is not None else None
    if drop is not None and not _believable(drop, fall, rate_g_s, lit_s):
        drop = None
    if drop is not None:
        return _from_flame(drop, fall)
    return _from_mass(fall, steaming) if fall is not None else None


def _believable(drop: "Drop", fall: Fall | None, rate_g_s: Array, lit_s: float | None) -> bool:
    """Tell whether a flame probe's fall is the flame's and not the probe's own, by the mass that went on leaving."""
    if not np.isfinite(rate_g_s).any():
        return True
    level = flaming_level(rate_g_s, int(lit_s or 0), len(rate_g_s))
    after = rate_g_s[int(drop.t_s) + 20 : int(drop.t_s) + 90]
    if fall is None:
        # The load cell has seen no end (yet): only a rate that has clearly sunk makes the probe believable.
        return len(after) > 10 and float(np.nanmedian(after)) < LOW_SHARE * level
    return fall.half_s - 120.0 <= drop.t_s or float(np.nanmedian(after)) < LOW_SHARE * level


def _from_flame(drop: "Drop", fall: Fall | None) -> Event:
    words = (
        f"flame probe fell from {drop.hot_c:.0f} to {drop.after_c:.0f} °C from {drop.t_s:.0f} s on, its flicker "
        f"from {drop.flicker_k:.0f} to {drop.calm_k:.0f} K"
    )
    u_s = drop.u_s
    if fall is not None:
        words += (
            f"; mass loss fell from {fall.flaming_g_s * 60:.1f} to {fall.tail_g_s * 60:.1f} g/min by {fall.end_s:.0f} s"
        )
        # Two witnesses that disagree each know less than they say.
        u_s = float(np.hypot(u_s, 0.4 * min(abs(drop.t_s - fall.end_s), 100.0)))
    return Event(EventKind.FLAMEOUT, drop.t_s, u_s, words)


def _from_mass(fall: Fall, steaming: NDArray[np.bool_] | None) -> Event:
    u_s = _u_mass(fall)
    words = (
        f"mass loss fell from {fall.flaming_g_s * 60:.1f} to {fall.tail_g_s * 60:.1f} g/min, the fall ending at "
        f"{fall.end_s:.0f} s; {MASS_ONLY_WORDS}"
    )
    k = int(fall.end_s)
    if steaming is not None and 0 <= k < len(steaming) and steaming[max(0, k - 60) : k + 1].any():
        u_s = float(np.hypot(u_s, 6.0))
        words += "; water was boiling away on the same cell"
    return Event(EventKind.FLAMEOUT, fall.end_s, u_s, words, None, False)


def _u_mass(fall: Fall) -> float:
    """Return the standard uncertainty of a flameout from the foot of the fall alone.

    Observed ends of flame scatter about it by a share of the fall's own length, and by some seconds in any case.
    """
    length = max(fall.end_s - fall.half_s, 0.0)
    unseen = max(0.0, TAIL_S - fall.seen_tail_s)
    apart = 0.5 * (fall.foot_s - fall.end_s)
    return float(np.sqrt(apart**2 + (0.5 * length) ** 2 + 15.0**2 + (0.5 * unseen) ** 2))


def flaming_level(rate_g_s: Array, low: int, high: int) -> float:
    """Return the level of flaming in a stretch of the record, g/s.

    That is the median of the rates above a third of the highest.
    """
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
    rate = _averaged(rate_g_s, 21)
    known = np.isfinite(rate_g_s)
    if known[begin:].sum() < LEAST_FLAMING_S:
        return None
    last_refuel = max((int(t) for t in refuels_s), default=begin)
    whole = flaming_level(rate, begin, n)
    recent = flaming_level(rate, max(begin, last_refuel), n)
    # After a late refuel the fire may never again reach its earlier level.
    level = recent if last_refuel > begin and recent > 0.4 * whole else whole
    if level < LEAST_RATE_G_S:
        return None
    # A running median, so that a knock on the cell, which the smoother spreads into a hump, is no flame.
    filled = np.interp(np.arange(n), np.flatnonzero(known), rate_g_s[known])
    padded = np.pad(filled, KNOCK_S, mode="edge")
    filled = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * KNOCK_S + 1), axis=1)
    burning = filled > RECOVERY_SHARE * level
    burning[:begin] = False
    stretches = [(a, b) for a, b in runs(burning) if b - a >= LEAST_STRETCH_S]
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
    end = min(n, half + min(max(180, 6 * (half - start)), 900))
    t = np.arange(half - (half - start) // 2, end, dtype=np.float64) + 0.5
    r = rate_g_s[int(t[0]) : end]
    good = np.isfinite(r)
    t, r = t[good], r[good]
    if len(t) < 6:
        return None
    candidates = np.arange(half + 1.0, end, max(1.0, (end - half) // 150))
    cost = _foot_costs(t, r, candidates, level)
    best = int(np.argmin(cost))
    if not np.isfinite(cost[best]):
        return None
    foot = float(candidates[best])
    tail = r[t >= foot]
    tail_level = float(np.median(tail)) if len(tail) else float(r[-1])
    if tail_level > CHAR_SHARE * level:
        return None
    with np.errstate(invalid="ignore"):
        below = np.flatnonzero(_averaged(rate_g_s, 21)[half:] < FLAMEOUT_SHARE * level)
    end_s = float(half + below[0]) if len(below) else foot
    # Where glowing char alone gives about as much as that share, its crossing is chance; the foot can be seen.
    if tail_level > 0.8 * FLAMEOUT_SHARE * level or end_s > foot + 0.3 * (foot - half) + 10.0:
        end_s = foot
    return Fall(float(half), foot, end_s, level, max(tail_level, 0.0), float(end - foot))


def _foot_costs(t: Array, r: Array, feet: Array, level: float) -> Array:
    """Return the misfit of a level tail joined at each foot by a straight fall; inf where that is no fall to char."""
    ahead = np.maximum(feet[:, None] - t[None, :], 0.0)
    cost, coefficients, _ = profile(np.stack((np.ones_like(ahead), ahead), axis=2), r)
    cost[(coefficients[:, 1] <= 0) | (coefficients[:, 0] > CHAR_SHARE * level)] = np.inf
    return cost


def _averaged(values: Array, width: int) -> Array:
    """Return the running mean over the finite values of a window; NaN where it holds none."""
    if len(values) == 0:
        return values
    good = np.isfinite(values)
    kernel = np.ones(width)
    count = np.convolve(good.astype(float), kernel, "same")[: len(values)]
    total = np.convolve(np.where(good, values, 0.0), kernel, "same")[: len(values)]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0, total / count, np.nan))


@dataclass(frozen=True, slots=True)
class Drop:
    """A flame probe's last fall.

    Attributes:
        t_s: Where it begins.
        u_s: Standard uncertainty.
        hot_c: Level just before.
        after_c: Level it falls to.
        flicker_k: Scatter before.
        calm_k: Scatter after.
    """

    t_s: float
    u_s: float
    hot_c: float
    after_c: float
    flicker_k: float
    calm_k: float


def flame_drop(flame: Column, lit_s: float | None, share: Array | None = None, lag_s: float = 0.0) -> Drop | None:
    """Find where a flame probe's last fall begins, or None where it stands in flame to the end or never did.

    Before it the probe sees the flame, wandering along a parabola with its own flicker; after it an exponential decline
    to the calmer level over glowing char. Each candidate second splits the record into the two, each with a scatter of
    its own; the likelihood picks the split. Where char is then smothered the probe falls a second time: a calm stretch
    before the last fall, entered from flicker, is the end of flame. While fuel still leaves far faster than at any
    observed flameout, a sinking flame is only weakening.

    Args:
        flame: The flame probe's column.
        lit_s: When the fuel caught; None where the record began mid-burn.
        share: (n,) burning rate over its flaming level, where known.
        lag_s: The probe's time constant.
    """
    value = without_spikes(flame.value, floor=3.0)
    begin = int(lit_s) + 20 if lit_s is not None else 0
    finite = np.flatnonzero(np.isfinite(value))
    finite = finite[finite >= begin]
    if len(finite) < LEAST_FLAMING_S:
        return None
    t, v = flame.t_s[finite], value[finite]
    calm = _averaged(v, 9)
    hot = float(np.quantile(calm, 0.8))
    after = float(np.median(v[-30:]))
    if hot < FLAME_C or after > hot - max(LEAST_DROP_K, LEAST_DROP_SHARE * hot):
        return None
    above = np.flatnonzero(calm > 0.5 * (hot + after))
    crossing = float(t[above[-1]])
    if t[-1] - crossing < TAIL_S / 2:
        return None
    near = (t > crossing - 150.0) & (t < crossing + 120.0)
    drop = _split(t[near], v[near], share, lag_s)
    if drop is None:
        return None
    earlier = (t > drop.t_s - 200.0) & (t < drop.t_s - 2.0)
    first = _split(t[earlier], v[earlier], share, lag_s)
    if first is not None and first.calm_k < 0.35 * first.flicker_k and drop.t_s - first.t_s > 20.0:
        stretch = v[(t > first.t_s + 5.0) & (t < drop.t_s)]
        cooler = len(stretch) > 0 and float(np.median(stretch)) < (1.0 - LEAST_DROP_SHARE) * hot
        if cooler and (share is None or float(_too_soon(share, np.array([first.t_s]))[0]) < 9.0):
            return first
    return drop


def _split(t: Array, v: Array, share: Array | None, lag_s: float) -> Drop | None:
    """Split a flame probe's curve into flame and afterglow by likelihood."""
    if len(t) < 12:
        return None
    step = max(1.0, float(np.median(np.diff(t))))
    correlated_s = _correlation_s(v[: len(v) // 2]) * step
    coarse = _split_at(t, v, np.arange(t[0] + 15.0, t[-1] - 10.0, 4.0 * step), share, correlated_s)
    if coarse is None:
        return None
    near = np.arange(max(t[0] + 8.0, coarse.t_s - 24.0 * step), min(t[-1] - 8.0, coarse.t_s + 24.0 * step), step)
    fine = _split_at(t, v, near, share, correlated_s)
    if fine is None:
        return None
    u = float(np.sqrt(fine.u_s**2 + 9.0 + (0.1 * min(lag_s, 30.0)) ** 2))
    return replace(fine, u_s=u)


def _correlation_s(v: Array) -> float:
    """Return how many readings in flame make one independent value, from their lag-one correlation."""
    x = np.linspace(-1.0, 1.0, len(v))
    residual = v - np.polyval(np.polyfit(x, v, 2), x) if len(v) > 8 else np.zeros(0)
    power = float(residual @ residual)
    if power <= 0:
        return CORRELATED[0]
    r = min(max(float(residual[1:] @ residual[:-1]) / power, 0.0), 0.99)
    return float(np.clip((1.0 + r) / (1.0 - r), *CORRELATED))


def _split_at(t: Array, v: Array, onsets: Array, share: Array | None, correlated_s: float) -> Drop | None:
    """Return the likeliest of some splits, its uncertainty from the likelihood alone."""
    if len(onsets) == 0:
        return None
    onset_of, tau_of = (grid.ravel() for grid in np.meshgrid(onsets, FALL_TAUS_S, indexing="ij"))
    since = (t[None, :] - onset_of[:, None]) / 100.0
    flaming = (since < 0).astype(np.float64)
    glowing = 1.0 - flaming
    decline = glowing * np.exp(-np.maximum(since, 0.0) * 100.0 / tau_of[:, None])
    columns = np.stack((flaming, flaming * since, flaming * since**2, glowing, decline, glowing * since), axis=2)
    _, coefficients, residual = profile(columns, v)
    count = flaming.sum(axis=1)
    rest = len(t) - count
    before = np.einsum("km,km->k", flaming, residual**2) / np.maximum(count, 1.0)
    after = np.einsum("km,km->k", glowing, residual**2) / np.maximum(rest, 1.0)
    # The scatter's floor keeps a chance run of equal codes from looking infinitely calm.
    before, after = np.maximum(before, 2.0), np.maximum(after, 2.0)
    cost = count * np.log(before) + rest * np.log(after)
    if share is not None:
        cost += correlated_s * _too_soon(share, onset_of)
    entry = coefficients[:, 3] + coefficients[:, 4]
    falls = (coefficients[:, 0] > coefficients[:, 3] + LEAST_DROP_K / 2) & (entry > coefficients[:, 3] - LEAST_DROP_K)
    cost[~falls | (count < 8) | (rest < 8)] = np.inf
    best = int(np.argmin(cost))
    if not np.isfinite(cost[best]):
        return None
    within = onset_of[cost <= cost[best] + 3.84 * correlated_s]
    return Drop(
        float(onset_of[best]),
        max(float(within[-1] - within[0]) / 3.92, 1.0),
        float(coefficients[best, 0]),
        float(coefficients[best, 3]),
        float(before[best] ** 0.5),
        float(after[best] ** 0.5),
    )


def _too_soon(share: Array, t_s: Array) -> Array:
    """Return by how many squared deviations fuel leaves too fast for an end of flame at each moment."""
    known = np.where(np.isfinite(share), share, FLAMEOUT_SHARE)
    at = np.interp(t_s, np.arange(len(known)) + 0.5, known)
    return np.maximum((at - FLAMEOUT_SHARE) / U_FLAMEOUT_SHARE, 0.0) ** 2
