"""Where a ramp of the water's temperature ends in a plateau near boiling, boiling or not."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from emberline.curves.boil_odds import end_odds
from emberline.curves.knee import Knee, fit_knee
from emberline.curves.robust import SlidingLines, code_step, white_noise_sd
from emberline.curves.standing import wander_k
from emberline.curves.steam import steam_jump, steam_witness

Array = NDArray[np.float64]

FLAT_K_S, FLAT_SHARE = 0.4 / 60, 0.08
"""Steepest slope of a plateau, K/s, or over the slope of the ramp before it (common practice, no source)."""
AGREEMENT, KNEE_BAND_K = 2.2, 4.0
"""Reach around the boiling point in which plateaus are looked for: in standard uncertainties; at least, in kelvins."""
ABOVE_K = 8.0
"""The same above it, where nothing but boiling stops a ramp: a probe that touches the hot wall reads so much more."""
LEAST_RISE_K = 4.0
"""Rise without which nothing tells that a ramp led here."""
TELLING_K = 0.5
"""Rise that a ramp which goes on would have shown in the time for which a plateau is watched."""
PAUSE_S = 600
"""Seconds after a plateau in which a hotter one unmasks it."""
PAUSE_K = 0.4
"""Excess of the hotter plateau that does; water is never hotter than boiling."""
DRIFT_K, CLEAR = 1.2, 1.0
"""Excess that a drifting probe may show when knee and steam speak for a boil with these log odds."""
FAST_SHARE = 0.3
"""Slope over that of the ramp with which water warms, and a probe does not drift."""
ARRIVAL_K, MOST_ARRIVAL_S = 0.07, 5.0
"""Distance from the plateau at which people call it boiling, and the most that it brings forward."""
U_ARRIVAL_K = 0.2
"""Standard uncertainty of that distance: what three makers of simulated pots call the boil differs by so much."""
SOFT_SHARPNESS, SOFT_K = 0.75, 2.5
"""Sharpness below which an approach has no clear end, and kelvins of doubt for all of it (fitted to simulated pots)."""
U_MIXING_S = 1.0
"""Standard uncertainty of what a probe at one place says of all the water (common practice, no source)."""
MOST_U_S = 75.0
"""Standard uncertainty from which on a plateau cannot be dated: no ramp leads to it."""
MOST_SLOPE_K_S = 2.5
"""No stove heats water faster (a cup of 100 g on 1 kW): a probe has come back into it."""
RAMP_K, RAMP_S, AFTER_S = 15.0, 300, 75
"""Ramp that is looked at, in kelvins below its plateau and in seconds; seconds of plateau that are."""
LEAST_SLOPE_K_S = 0.003
"""Slope that a ramp is taken to have at least."""
SHORT_RISE_K = 0.5
"""Least rise of a ramp that is no more than a short last rise."""
LULL_K, LULL_S, LULL_SHARE = 1.5, 60.0, 0.15
"""Rise that is due within the time in which a lull is seen, the longest such time, and the share of the rise below
which it is one."""
SLOW_K_S = 3.0 / 60.0
"""Slope below which a ramp is slow enough for its last kelvin to be looked at."""
LAST_K = (1.3, 0.4)
"""Distances from the plateau between which that is, beside what the probe lags behind."""
CLOSELY_S = (30, 120)
"""Seconds of plateau, wanted or seen, from which on it is."""
_MOST_FITS = 6


@dataclass(frozen=True, slots=True)
class WaterProbe:
    """What is known of the probe in the pot: its standard uncertainty in K and its lag in s."""

    u_bias_k: float
    time_constant_s: float
    u_time_constant_s: float


@dataclass(frozen=True, slots=True)
class Plateau:
    """A ramp that ended in a plateau.

    Attributes:
        t_s: When the water arrived there, lag removed.
        u_s: Standard uncertainty.
        level_c: Temperature of the plateau as the probe reads it.
        slope_k_s: Slope of the ramp where it meets the plateau.
        sharpness: Slope 1.5-4 K below the plateau over that 8-15 K below it; NaN where the ramp is too short to tell.
        held_s: For how long it was seen.
        wander_k: By how much its temperature wandered; NaN where it was not seen for long enough.
    """

    t_s: float
    u_s: float
    level_c: float
    slope_k_s: float
    sharpness: float
    held_s: float
    wander_k: float = float("nan")


def find_plateau(
    t_s: Array,
    value_c: Array,
    boiling_point_c: UFloat,
    probe: WaterProbe,
    hold_s: int,
    loss_rate_g_s: Array | None = None,
) -> Plateau | None:
    """Find the first flat stretch near boiling that ends a ramp, or None.

    Args:
        t_s: (n,) mean sample times of successive seconds.
        value_c: (n,) their readings, NaN for gaps, without spikes.
        boiling_point_c: Local boiling temperature.
        probe: The probe's uncertainty and lag.
        hold_s: Seconds of plateau wanted.
        loss_rate_g_s: Loss of all that stands on the load cell, one value a second from 0 s on; None where unknown.
    """
    finite = np.flatnonzero(np.isfinite(value_c))
    if len(finite) < 10:
        return None
    spacing = max(1, round(float(np.median(np.diff(finite)))))
    step_k = code_step(value_c)
    noise_k = max(white_noise_sd(value_c), step_k / 12.0**0.5, 0.02)
    hold = max(hold_s, 4 * spacing)
    lines = SlidingLines(value_c)
    k = np.arange(len(value_c))
    count, _, level, slope, scatter = lines.window(k, k + hold)
    ramp_slope = lines.window(k - max(40, 4 * spacing), k)[3]
    band = max(AGREEMENT * float(np.hypot(probe.u_bias_k, boiling_point_c.std_dev)), KNEE_BAND_K)
    slope_noise = noise_k * (12.0 / hold**3 * spacing) ** 0.5
    coolest = np.fmin.accumulate(np.where(np.isfinite(value_c), value_c, np.inf))
    with np.errstate(invalid="ignore"):
        flat = np.abs(slope) < np.maximum(max(FLAT_K_S, 2.5 * slope_noise), FLAT_SHARE * ramp_slope)
        above = level - boiling_point_c.nominal_value
        near = (above > -band) & (above < max(band, ABOVE_K))
        calm = scatter < max(1.0, 4.0 * noise_k)
        seen = (count >= 0.6 * hold / spacing) & (k + hold <= len(value_c))
        candidates = np.flatnonzero(flat & near & calm & seen & (level - coolest > LEAST_RISE_K))
    minute = lines.window(k, k + max(60, 6 * spacing))[2]
    _, _, brisk_level, brisk, _ = lines.window(k, k + max(20, 4 * spacing))
    fits, resume = 0, 0
    for first in candidates.tolist():
        if first < resume or fits == _MOST_FITS:
            continue
        before = float(ramp_slope[first])
        soon = candidates[(candidates > first) & (candidates < first + PAUSE_S)]
        here = float(np.fmax(level[first], minute[first]))
        hottest = int(soon[np.argmax(minute[soon])]) if len(soon) else first
        excess = float(minute[hottest]) - here
        # A plateau between two codes may read as either.
        if excess > PAUSE_K + 0.5 * step_k:
            sharpness = _sharpness(*_finite(t_s, value_c, first - 2 * RAMP_S, first + 45), level[first], t_s[first])
            jump = steam_jump(loss_rate_g_s, float(t_s[first])) if loss_rate_g_s is not None else None
            rises = (brisk_level > here) & (brisk > FAST_SHARE * before)
            warms = jump is None and bool(rises[first + hold // 2 : hottest].any())
            if excess > DRIFT_K + noise_k or warms or end_odds(sharpness, jump) < CLEAR:
                continue
        # A slow ramp must be watched until going on would have shown.
        needed = int(min(TELLING_K / before, 150.0)) if before > 0 else hold
        if needed > hold:
            onward = float(lines.window(np.array([first]), np.array([first + needed]))[3][0])
            if first + needed > len(value_c) or not abs(onward) < 0.4 * before:
                continue
        # To a live curve, which asks for little, a pause of a slow ramp ends it as sharply as a boil.
        closely = hold_s >= CLOSELY_S[0] or len(value_c) - first > CLOSELY_S[1]
        plateau = _dated(t_s, value_c, first, probe, noise_k, loss_rate_g_s, closely=closely)
        # A knee that the curve has not passed yet is a guess.
        if plateau is not None and plateau.t_s < t_s[finite[-1]] - 0.5 * hold:
            return plateau
        fits, resume = fits + 1, first + hold
    return None


def _dated(
    t_s: Array,
    value_c: Array,
    first: int,
    probe: WaterProbe,
    noise_k: float,
    loss_rate_g_s: Array | None,
    *,
    closely: bool,
) -> Plateau | None:
    """Date the knee before the first flat second."""
    level = float(np.nanmedian(value_c[first : first + 45]))
    arrived = float(t_s[first])
    below = np.flatnonzero(value_c[:first] < level - RAMP_K)
    foot = int(below[-1]) + 1 if len(below) else 0
    if _put_back(t_s, value_c, max(0, foot - 10), first, level):
        return None
    begin = _last_rise(value_c, max(foot, first - RAMP_S), first, noise_k)
    t, v = _finite(t_s, value_c, begin, first + AFTER_S)
    leaves = np.flatnonzero((t > arrived + 15.0) & (v < level - max(1.0, 6.0 * noise_k)))
    if len(leaves):
        t, v = t[: leaves[0]], v[: leaves[0]]
    ramp = t < arrived
    slope = _late_slope(t[ramp], v[ramp], level, noise_k)
    if slope is None:
        return None
    kept = _last_lull(t[ramp], v[ramp], level, slope, noise_k)
    t, v = t[kept:], v[kept:]
    witness = steam_witness(loss_rate_g_s, int(arrived)) if loss_rate_g_s is not None else None
    knee = fit_knee(t, v, arrived, slope, probe.time_constant_s, noise_k, witness)
    if knee is None or knee.slope_k_s > MOST_SLOPE_K_S:
        return None
    whole = (t, v) if kept else _finite(t_s, value_c, foot, first + 45)
    sharpness = _sharpness(*whole, knee.level_c, knee.t_s)
    if closely and knee.slope_k_s < SLOW_K_S:
        sharpness = _or_closer_by(sharpness, *whole, knee, probe.time_constant_s)
    softness = max(0.0, SOFT_SHARPNESS - sharpness) if np.isfinite(sharpness) else 0.0
    u_arrival_s = (U_ARRIVAL_K + SOFT_K * softness) / knee.slope_k_s
    u = float(np.sqrt(knee.u_s**2 + probe.u_time_constant_s**2 + u_arrival_s**2 + U_MIXING_S**2))
    if u > MOST_U_S:
        return None
    t_after, after = _finite(t_s, value_c, first, len(value_c))
    strays = np.flatnonzero(np.abs(after - knee.level_c) > max(2.0, 6.0 * noise_k))
    left_s = float(t_after[strays[0]] if len(strays) else t_after[-1])
    wander = wander_k(t_after, after, knee.t_s, left_s, code_step(value_c))
    arrival = knee.t_s - min(ARRIVAL_K / knee.slope_k_s, MOST_ARRIVAL_S)
    return Plateau(arrival, u, knee.level_c, knee.slope_k_s, sharpness, left_s - arrived, wander)


def _last_rise(value_c: Array, begin: int, first: int, noise_k: float) -> int:
    """Return where the last rise before `first` begins; what went before cold water or a lifted lid tells nothing."""
    backwards = value_c[begin:first][::-1]
    with np.errstate(invalid="ignore"):
        hotter = np.flatnonzero(backwards > np.fmin.accumulate(backwards) + max(1.0, 6.0 * noise_k))
    if len(hotter) == 0:
        return begin
    return first - 1 - int(np.nanargmin(backwards[: hotter[0]]))


def _late_slope(t_s: Array, ramp_c: Array, level_c: float, noise_k: float) -> float | None:
    """Return the slope of a ramp's last kelvins, or None where they are not seen."""
    slopes = []
    for depth in (6.0, 2.5):
        last = (ramp_c > level_c - depth) & (ramp_c < level_c - max(0.7, 2.0 * noise_k))
        if last.sum() >= 5 and np.ptp(t_s[last]) >= 8.0:
            slopes.append(float(np.polyfit(t_s[last], ramp_c[last], 1)[0]))
    if len(t_s) < 4:
        return None
    late = t_s > t_s[-1] - 60.0
    if not slopes:
        late = late if late.sum() >= 4 else np.ones(len(t_s), dtype=bool)
        slopes.append(float(np.polyfit(t_s[late], ramp_c[late], 1)[0]))
    # A short rise after a long stand just below boiling.
    rise, since_s = _rises(t_s[late], ramp_c[late], 20.0)
    brisk = np.flatnonzero((rise > SHORT_RISE_K + 6.0 * noise_k) & (since_s > 10.0))
    if len(brisk) and rise[brisk].max() / 20.0 > 2.0 * max(slopes):
        slopes.append(float(np.max(rise[brisk] / since_s[brisk])))
    return max(*slopes, LEAST_SLOPE_K_S)


def _last_lull(t_s: Array, ramp_c: Array, level_c: float, slope_k_s: float, noise_k: float) -> int:
    """Return where the ramp's last lull ends, 0 without one: how fast the water warms is seen after it."""
    # Codes that stand for a while look like a lull: as much rise is due as noise and codes cannot hide.
    width = float(np.clip(max(LULL_K, LULL_K / 2.0 + 7.0 * noise_k) / slope_k_s, 10.0, LULL_S))
    due = slope_k_s * width
    if due < LULL_K / 2.0 + 6.0 * noise_k:
        return 0
    rise, since_s = _rises(t_s, ramp_c, width)
    goes_on = np.maximum.accumulate(rise[::-1])[::-1] > 0.6 * due
    lulls = np.flatnonzero((since_s > 0.8 * width) & (ramp_c < level_c - 0.5) & goes_on & (rise < LULL_SHARE * due))
    return int(lulls[-1]) if len(lulls) else 0


def _rises(t_s: Array, value_c: Array, width_s: float) -> tuple[Array, Array]:
    """Return the rise over the last `width_s` seconds at each reading, and over how many seconds it is."""
    earlier = np.searchsorted(t_s, t_s - width_s)
    return value_c - value_c[earlier], t_s - t_s[earlier]


def _put_back(t_s: Array, value_c: Array, low: int, first: int, level_c: float) -> bool:
    """Tell whether a probe came from elsewhere into water that was boiling already: no stove heats so fast."""
    t, v = _finite(t_s, value_c, low, first + 10)
    rise, since_s = _rises(t, v, 10.0)
    return bool(((v > level_c - 3.0) & (rise > 10.0 * MOST_SLOPE_K_S) & (since_s <= 10.0)).any())


def _finite(t_s: Array, value_c: Array, low: int, high: int) -> tuple[Array, Array]:
    """Return times and values of the finite seconds in a range."""
    t, v = t_s[max(low, 0) : high], value_c[max(low, 0) : high]
    good = np.isfinite(v)
    return t[good], v[good]


def _sharpness(t_s: Array, value_c: Array, level_c: float, knee_s: float) -> float:
    """Return the slope close below the plateau over the slope well below it."""
    return _slopes_ratio(t_s, value_c, (level_c - 4.0, level_c - 1.5), (level_c - RAMP_K, level_c - 8.0), knee_s)


def _or_closer_by(sharpness: float, t_s: Array, value_c: Array, knee: Knee, lag_s: float) -> float:
    """Return the sharpness of a slow ramp, or of its last kelvin where that is as sharp as a boil.

    An approach without an end slows down at every distance alike. So where the end is sharp closer by, a fire that had
    weakened before bent the ramp. Less than that says no more: the last kelvin is little to go by.
    """
    last_c = knee.level_c - knee.slope_k_s * lag_s
    nearest = (last_c - LAST_K[0], last_c - LAST_K[1])
    last = _slopes_ratio(t_s, value_c, nearest, (knee.level_c - 4.0, knee.level_c - 1.5), knee.t_s)
    return float(np.fmax(sharpness, last)) if last > SOFT_SHARPNESS else sharpness


def _slopes_ratio(
    t_s: Array, value_c: Array, close_c: tuple[float, float], well_c: tuple[float, float], knee_s: float
) -> float:
    """Return the slope in one range of temperatures over that in a lower one; NaN where either is not known."""
    near = (value_c > close_c[0]) & (value_c < close_c[1]) & (t_s < knee_s + 5.0)
    far = (value_c > well_c[0]) & (value_c < well_c[1]) & (t_s < knee_s)
    if near.sum() < 3 or far.sum() < 3:
        return float("nan")
    close, well = (float(np.polyfit(t_s[part], value_c[part], 1)[0]) for part in (near, far))
    return close / well if well > 0 else float("nan")
