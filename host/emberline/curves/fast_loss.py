"""The end of fast mass loss: how a burning rate leaves its flaming level for that of glowing char.

Two regimes. While flaming, the rate stays near a level; then it declines to that of glowing char, which is not zero.
The decline is modelled as a straight fall that ends at a foot on a level tail, and the foot is found by least squares
over every candidate second. Few declines are straight lines, so the moment at which the rate has sunk to where flames
begin to end is given too. A hump after the fall is a fire that came back only if it lasts as long as one and is no
stronger than one; else a hand or a gust was at the load cell.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from emberline.curves.robust import profile, running_median, runs

Array = NDArray[np.float64]

LOW_SHARE = 0.35
"""Share of the flaming level below which the rate may mean the end."""
RECOVERY_SHARE = 0.5
"""Share of the flaming level at which a fire that had sunk is burning again."""
CHAR_SHARE = 0.35
"""Largest share of the flaming level at which a tail still passes for char."""
FAINT_SHARE = 0.2
"""Share of the flaming level to which a low flame, brighter than char, has come down once it is out."""
FIRST_SHARE = 0.18
"""Share of the flaming level at which flames begin to end: 9-20 % was seen in cone-calorimeter burns of wood."""
NEAR_SHARE = 0.03
"""The same over brighter char: what is left above its level, as a share of flaming less that."""
LEAST_RATE_G_S = 0.01
"""Slowest flaming that is believed, g/s: a load cell that drifts or warms is no fire."""
LEAST_BURNT_G = 4.0
"""Least loss that a load cell alone calls a fire: creep, warmth and lee of a hobby cell reach some 3 g."""
KNOCK_S = 20
"""Reach of a knock in the smoothed rate."""
LEAST_STRETCH_S = 20
"""Shortest stretch of fast loss that is flame and not a knock on the cell."""
LEAST_FLAMING_S = 45
"""Shortest stretch of flame that makes a burn."""
SUNKEN_S = 120
"""Seconds in which a fire that came back by itself had not died; later, only a lasting one is believed."""
LEAST_RELIGHT_S = 60
"""Shortest stretch of a fire that came back after that; three times as long for one that burns more violently."""
MOST_RELIGHT_SHARE = 1.5
"""Share of the flaming level above which a fire that came back is suspect of being a hand at the load cell."""
REFUEL_GRACE_S = 180
"""Seconds after a refuel in which a sunken fire is waited for: cold fuel smothers a flame for up to a minute, and moist
fuel longer."""
SHOULDER_S = 100
"""Seconds for which a shoulder between flaming and char may last, and a sixth of what is searched for one."""
SHOULDER_SHARE = 0.07
"""Share of the flaming level above the later tail that may still be flame."""
AVERAGED_S = 21
"""Width of the running mean in which the fall is followed."""
NOISY_SHARE = 0.15
"""Uncertainty of the rate, as a share of flaming, from which on it is averaged over longer."""
MOST_WIDTHS = 8.0
"""Most by which the running mean is widened."""
FALL_BACK_S, FALL_TAIL_S, LONGEST_TAIL_S = 300, 180, 900
"""Reach of the fit: at most so far back from half rate, at least and at most so far ahead."""


@dataclass(frozen=True, slots=True)
class Fall:
    """The final decline of the burning rate.

    Attributes:
        half_s: When the rate last fell through half of its flaming level, or, onto a high tail, left that level.
        foot_s: Where the fall meets the tail.
        sunk_s: When the rate has come down to `FIRST_SHARE` of flaming, or to `NEAR_SHARE` above a brighter tail.
        flaming_g_s: The flaming level.
        tail_g_s: The level of the tail.
        seen_tail_s: For how long the tail was seen.
        settled_s: When the rate has come down to what it is later, shoulders after the foot included.
        blurred_s: By how much noise of the rate blurs all these moments.
        veiled: Whether the tail is a pot's steam, so that it says nothing of the char.
    """

    half_s: float
    foot_s: float
    sunk_s: float
    flaming_g_s: float
    tail_g_s: float
    seen_tail_s: float
    settled_s: float
    blurred_s: float
    veiled: bool = False

    @property
    def length_s(self) -> float:
        """From half rate to the foot."""
        return self.foot_s - self.half_s


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


def last_level(rate_g_s: Array, begin: int, refuels_s: Sequence[float]) -> float:
    """Return the level of the flaming that ends with the record, g/s.

    Args:
        rate_g_s: (n,) burning rate, NaN where unknown.
        begin: When the fuel caught.
        refuels_s: Moments of refuelling: after a late one the fire may never again reach its earlier level.
    """
    return _last_fire(rate_g_s, begin, refuels_s)[0]


def _last_fire(rate_g_s: Array, begin: int, refuels_s: Sequence[float]) -> tuple[float, float]:
    """Return the level of the flaming that ends with the record and that of the char which glows beneath it, g/s.

    Char is told from flame only where a fire was down to it before it was fed and caught anew; else it is 0.
    """
    rate = averaged(rate_g_s, AVERAGED_S)
    whole = flaming_level(rate, begin, len(rate))
    late = sorted((int(t) for t in refuels_s if t > begin), reverse=True)
    for fed in late:
        if (anew := _caught_anew(rate, fed, whole)) is not None:
            return anew
    recent = flaming_level(rate, late[0], len(rate)) if late else 0.0
    return (recent if recent > 0.4 * whole else whole), 0.0


def _caught_anew(rate_g_s: Array, fed: int, whole: float) -> tuple[float, float] | None:
    """Return the levels of flaming and of char of a fire that was down to its char when it was fed, and burnt again.

    However low it burnt: char does not flare up. None where it did not burn again.

    Args:
        rate_g_s: (n,) running mean of the rate.
        fed: When it was fed.
        whole: The level of flaming of the whole record.
    """
    before, since = rate_g_s[max(0, fed - 3 * KNOCK_S) : max(0, fed - KNOCK_S)], rate_g_s[fed:]
    if not np.isfinite(before).any() or not np.isfinite(since).any():
        return None
    char = max(0.0, float(np.nanmedian(before)))
    brisk = since[since > 0.5 * (char + float(np.nanquantile(since, 0.95)))]
    if len(brisk) == 0:
        return None
    level = float(np.median(brisk))
    lasts_s = int(np.sum(since > 0.5 * (char + level)))
    low = char < min(LOW_SHARE * whole, RECOVERY_SHARE * level)
    return (level, char) if low and level > FAINT_SHARE * whole and lasts_s > 3 * LEAST_RELIGHT_S else None


def steadied(rate_g_s: Array) -> Array:
    """Return a rate's running median, gaps bridged: a knock on the cell, which smoothing makes a hump, is no flame.

    Args:
        rate_g_s: (n,) rate, NaN where unknown; at least one is known.
    """
    known = np.isfinite(rate_g_s)
    filled = np.interp(np.arange(len(rate_g_s)), np.flatnonzero(known), rate_g_s[known])
    return running_median(filled, KNOCK_S)


def averaged(values: Array, width: int) -> Array:
    """Return the running mean over the finite values of a window; NaN where it holds none."""
    if len(values) == 0:
        return values
    good = np.isfinite(values)
    kernel = np.ones(width)
    count = np.convolve(good.astype(float), kernel, "same")[: len(values)]
    total = np.convolve(np.where(good, values, 0.0), kernel, "same")[: len(values)]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0.5, total / count, np.nan))


def final_fall(
    rate_g_s: Array,
    lit_s: float | None,
    refuels_s: Sequence[float],
    u_rate_g_s: Array | None = None,
    steamed_until_s: float | None = None,
) -> Fall | None:
    """Find the decline from which the burning rate does not recover, or None.

    Args:
        rate_g_s: (n,) burning rate of the fuel, water's share taken off; NaN where unknown.
        lit_s: When the fuel caught; None where the record began mid-burn.
        refuels_s: Moments of refuelling.
        u_rate_g_s: (n,) standard uncertainty of the rate; None where it is small.
        steamed_until_s: When a pot was lifted whose water nobody could take off the rate: that ends no fire.
    """
    begin = int(lit_s) if lit_s is not None else 0
    level, char = _last_fire(rate_g_s, begin, refuels_s)
    if char > 0.0:
        # A small fire on much char, which glows on beneath: what counts is how much more is lost.
        fall = _fall_of(rate_g_s - char, level - char, begin, refuels_s, u_rate_g_s, steamed_until_s)
        return None if fall is None else replace(fall, flaming_g_s=level, tail_g_s=fall.tail_g_s + char)
    return _fall_of(rate_g_s, level, begin, refuels_s, u_rate_g_s, steamed_until_s)


def _fall_of(
    rate_g_s: Array,
    level: float,
    begin: int,
    refuels_s: Sequence[float],
    u_rate_g_s: Array | None,
    steamed_until_s: float | None,
) -> Fall | None:
    """Find the decline of flaming at a known level, from which the rate does not recover, or None."""
    n = len(rate_g_s)
    known = np.isfinite(rate_g_s)
    if known[begin:].sum() < LEAST_FLAMING_S or level < LEAST_RATE_G_S:
        return None
    wide = _width(u_rate_g_s, level, begin)
    if wide > 1.0:
        rate_g_s = averaged(rate_g_s, int(AVERAGED_S * wide))
    filled = steadied(np.where(known, rate_g_s, np.nan))
    stretches = _burning_stretches(filled, begin, level, refuels_s)
    if not stretches or sum(b - a for a, b in stretches) < LEAST_FLAMING_S:
        return None
    if sum(float(filled[a:b].sum()) for a, b in stretches) < LEAST_BURNT_G:
        return None
    half = stretches[-1][1]
    if half >= n - 5 or not (filled[half:] < LOW_SHARE * level).any():
        return None
    lifted = n if steamed_until_s is None else int(steamed_until_s)
    if lifted > half and (filled[half:lifted] < LOW_SHARE * level).any():
        rate_g_s = rate_g_s[:lifted]
    blurred_s = 0.3 * AVERAGED_S * (wide - 1.0)
    fall = _foot(rate_g_s, filled, half, level, blurred_s)
    if fall is None and (low := _low_flame_s(filled, half, level)) is not None:
        return _foot(rate_g_s, filled, low, level, blurred_s, KNOCK_S)
    return fall


def _width(u_rate_g_s: Array | None, level: float, begin: int) -> float:
    """Return over how many usual widths the rate is averaged: gusts are neither a fire nor its end."""
    if u_rate_g_s is None or not np.isfinite(u_rate_g_s[begin:]).any():
        return 1.0
    share = float(np.nanmedian(u_rate_g_s[begin:])) / level
    return float(np.clip((share / NOISY_SHARE) ** 2, 1.0, MOST_WIDTHS))


def _burning_stretches(filled: Array, begin: int, level: float, refuels_s: Sequence[float]) -> list[tuple[int, int]]:
    """Return the stretches in which the fire burnt, without humps that are none."""
    burning = filled > RECOVERY_SHARE * level
    burning[:begin] = False
    kept: list[tuple[int, int]] = []
    for a, b in runs(burning):
        if b - a < LEAST_STRETCH_S:
            continue
        fed = any(a - REFUEL_GRACE_S < t < b for t in refuels_s)
        if kept and not fed and a - kept[-1][1] > SUNKEN_S:
            violent = float(np.max(filled[a:b])) > MOST_RELIGHT_SHARE * level
            if b - a < (3 if violent else 1) * LEAST_RELIGHT_S:
                continue
        kept.append((a, b))
    return kept


def _low_flame_s(steady_g_s: Array, half: int, level: float) -> int | None:
    """Return when a flame went out that had burnt on below half of the level, brighter than char; None without one.

    That may take it minutes, so what counts is half of its way down.
    """
    for share in (CHAR_SHARE, 0.5 * (CHAR_SHARE + FAINT_SHARE)):
        low = half + int(max(np.flatnonzero(steady_g_s[half:] > share * level), default=0))
        later = steady_g_s[low + KNOCK_S : low + FALL_TAIL_S]
        if low > half and len(later) >= FALL_TAIL_S // 2 and float(np.median(later)) < FAINT_SHARE * level:
            return low
    return None


def _foot(
    rate_g_s: Array, steady_g_s: Array, half: int, level: float, blurred_s: float, back_s: int = FALL_BACK_S
) -> Fall | None:
    """Fit the straight fall and the level tail from the moment of half rate on.

    Args:
        rate_g_s: (n,) the rate.
        steady_g_s: Its running median, as long at least.
        half: When it last fell through half of its flaming level.
        level: That level.
        blurred_s: By how much the rate was averaged.
        back_s: At most so long before that the fall began.
    """
    n = len(rate_g_s)
    start = half
    while start > 0 and half - start < back_s and not rate_g_s[start - 1] > 0.85 * level:
        start -= 1
    end = min(n, half + min(max(FALL_TAIL_S, 6 * (half - start)), LONGEST_TAIL_S))
    t = np.arange(max(0, half - max((half - start) // 2, 3)), end, dtype=np.float64) + 0.5
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
    first = max(FIRST_SHARE * level, tail_level + NEAR_SHARE * (level - tail_level))
    sunk = np.flatnonzero(steady_g_s[half:end] < first)
    sunk_s = float(half + sunk[0]) if len(sunk) else foot
    settled = _settled(rate_g_s, half, int(foot), level)
    return Fall(float(half), foot, sunk_s, level, max(tail_level, 0.0), float(end - foot), settled, blurred_s)


def _settled(rate_g_s: Array, half: int, foot: int, level: float) -> float:
    """Return when the rate has sunk to its later level; the foot where too little of that was seen."""
    first, last = foot + SHOULDER_S, min(len(rate_g_s), foot + 6 * SHOULDER_S)
    later = rate_g_s[max(first, last - 3 * SHOULDER_S) : last]
    if len(later) < SHOULDER_S or not np.isfinite(later).any():
        return float(foot)
    above = averaged(rate_g_s, 2 * AVERAGED_S - 1)[half:last] > float(np.nanmedian(later)) + SHOULDER_SHARE * level
    return max(float(foot), float(half + np.flatnonzero(above)[-1])) if above.any() else float(foot)


def _foot_costs(t: Array, r: Array, feet: Array, level: float) -> Array:
    """Return the misfit of a level tail joined at each foot by a straight fall; inf where that is no fall to char."""
    ahead = np.maximum(feet[:, None] - t[None, :], 0.0)
    cost, coefficients, _ = profile(np.stack((np.ones_like(ahead), ahead), axis=1), r)
    cost[(coefficients[:, 1] <= 0) | (coefficients[:, 0] > CHAR_SHARE * level)] = np.inf
    return cost
