"""`boil`: where the water's ramp meets its plateau, and whether that plateau is boiling.

Model: up to `t_b` the water follows a parabola, after it a constant, and the probe sees both through a first-order lag
whose response to that shape is known in closed form; `t_b` is found by profiling the least-squares misfit. A plateau is
taken for boiling when it is flat, follows a real ramp, and agrees with the local boiling temperature within the
uncertainty of the probe and of the place. A pot whose losses eat its input approaches its ceiling exponentially,
so its slope dies away in proportion to the distance left; boiling water arrives with much of its slope. That ratio, and
the jump of the mass loss when steam begins to leave, tell the two apart where the thermometer alone cannot.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from emberline.curves.events import Event, EventKind
from emberline.curves.grid import MAD_TO_SD, Column
from emberline.curves.robust import SlidingLines, profile, white_noise_sd, without_spikes

Array = NDArray[np.float64]

HOLD_S = 30
"""Seconds of plateau that the final pass wants to see."""
HOLD_LIFTED_S = 12
"""Seconds of plateau that are enough where the visit ends with it."""
HOLD_LIVE_S = 10
"""Seconds of plateau on which a live run speaks."""
FLAT_K_S = 0.3 / 60
"""Steepest slope of a plateau, K/s (common practice, no source: 0.3 K a minute)."""
AGREEMENT = 2.2
"""Distance between plateau and boiling temperature that still agrees, in standard uncertainties of their difference."""
KNEE_BAND_K = 4.0
"""Disagreement that a sharp knee and a jump of steam loss can still overrule: the probe, not the water, is off."""
SHARP = 0.42
"""Least ratio of the slope 1.5-4 K below the plateau to that 8-15 K below it. A pure exponential approach has 0.24."""
SURE_U_K = 1.25
"""Standard uncertainty of the difference below which the thermometer alone confirms a boil."""
SAME_PLATEAU_K = 0.5
"""Spread of a boiling plateau: what lies further below the highest is not boiling."""
TELLING_K = 0.5
"""Rise that a ramp which goes on would have shown in the time for which a plateau is watched."""
ARRIVAL_K = 0.15
"""Distance from its plateau at which a ramp counts as arrived, and that distance's standard uncertainty."""
LULL_S = 15
"""Seconds over which a lull on the way to the boil is seen."""
MOST_U_S = 60.0
"""Standard uncertainty from which on a plateau cannot be dated: no ramp leads to it."""
PAUSE_S = 600
"""Seconds after a plateau in which a hotter one unmasks it."""
_RAMP_K = 15.0
_RAMP_S = 300


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
        t_s: Where ramp and plateau meet, lag removed.
        u_s: Standard uncertainty.
        level_c: Temperature of the plateau as the probe reads it.
        slope_k_s: Slope of the ramp where it meets the plateau.
        sharpness: Slope near the plateau over the slope well below it; NaN where the ramp is too short to tell.
        held_s: For how long it was seen.
    """

    t_s: float
    u_s: float
    level_c: float
    slope_k_s: float
    sharpness: float
    held_s: float


def find_boils(
    water: Column,
    visits: Sequence[tuple[float, float]],
    boiling_point_c: UFloat,
    probe: WaterProbe,
    loss_rate_g_s: Array | None = None,
    *,
    hold_s: int = HOLD_S,
) -> tuple[Event, ...]:
    """Find the first boil of every visit of the pot.

    Args:
        water: The water probe's column.
        visits: (start, end) of each stay of the pot, seconds; one pair over the whole record where nothing is known.
        boiling_point_c: Local boiling temperature.
        probe: The probe's uncertainty and lag.
        loss_rate_g_s: (n,) mass loss rate of all that stands on the cell, where the pot stands there too.
        hold_s: Seconds of plateau wanted.
    """
    events = []
    value = without_spikes(water.value, floor=0.1)
    for start, end in visits:
        low, high = max(0, int(start)), min(len(value), int(np.ceil(end)))
        plateau = find_plateau(value, low, high, boiling_point_c, probe, hold_s=hold_s)
        if plateau is None and hold_s > HOLD_LIFTED_S:
            # Many a pot is lifted as soon as it boils: its plateau is short.
            plateau = find_plateau(value, max(low, high - _RAMP_S), high, boiling_point_c, probe, hold_s=HOLD_LIFTED_S)
        if plateau is None:
            continue
        jump = steam_jump(loss_rate_g_s, plateau.t_s) if loss_rate_g_s is not None else None
        event = judge(plateau, boiling_point_c, probe, jump)
        if event is not None:
            events.append(event)
    return tuple(events)


def find_plateau(
    value: Array, low: int, high: int, boiling_point_c: UFloat, probe: WaterProbe, *, hold_s: int = HOLD_S
) -> Plateau | None:
    """Find the first flat stretch near boiling that ends a ramp, or None."""
    piece = value[low:high]
    finite = np.flatnonzero(np.isfinite(piece))
    if len(finite) < 10:
        return None
    spacing = max(1, round(float(np.median(np.diff(finite)))))
    hold = max(hold_s, 4 * spacing)
    band = max(AGREEMENT * float(np.hypot(probe.u_bias_k, boiling_point_c.std_dev)), KNEE_BAND_K)
    expected = boiling_point_c.nominal_value
    lines = SlidingLines(piece)
    k = np.arange(len(piece))
    ahead_n, _, ahead_v, ahead_slope, ahead_sd = lines.window(k, k + hold)
    back = max(40, 4 * spacing)
    _, _, _, back_slope, _ = lines.window(k - back, k)
    noise = max(white_noise_sd(piece), 0.02)
    slope_noise = noise * (12.0 / hold**3 * spacing) ** 0.5
    start_level = np.minimum.accumulate(np.where(np.isfinite(piece), piece, np.inf))
    with np.errstate(invalid="ignore"):
        flat = np.abs(ahead_slope) < np.maximum(np.maximum(FLAT_K_S, 2.5 * slope_noise), 0.06 * back_slope)
        near = np.abs(ahead_v - expected) < band
        calm = ahead_sd < max(1.0, 4.0 * noise)
        rose = ahead_v - start_level > 4.0
        enough = (ahead_n >= 0.6 * hold / spacing) & (k + hold <= len(piece))
        candidates = np.flatnonzero(flat & near & calm & rose & enough)
    for first in candidates:
        # Water is never hotter than boiling: what the minutes after it exceed was a pause, not a boil. Over an hour a
        # plateau may creep up as the water thickens or the probe ages.
        soon = candidates[(candidates > first) & (candidates < first + PAUSE_S)]
        if len(soon) and float(np.max(ahead_v[soon])) > ahead_v[first] + max(SAME_PLATEAU_K, 2.0 * noise):
            continue
        # A slow ramp must be watched until going on would have shown.
        slope_before = float(back_slope[first])
        needed = int(min(TELLING_K / slope_before, 150.0)) if slope_before > 0 else hold
        if needed > hold:
            _, _, _, slope, _ = lines.window(np.array([first]), np.array([first + needed]))
            if first + needed > len(piece) or not abs(float(slope[0])) < 0.4 * slope_before:
                continue
        plateau = _fit(piece, int(first), probe, noise, low)
        if plateau is not None:
            return plateau
    return None


def _fit(piece: Array, first: int, probe: WaterProbe, noise: float, offset: int) -> Plateau | None:
    """Profile the knee around the first flat second."""
    ahead = piece[first : first + 45]
    level = float(np.nanmedian(ahead))
    before = np.flatnonzero(np.isfinite(piece[:first]) & (piece[:first] < level - _RAMP_K))
    foot = int(before[-1]) + 1 if len(before) else 0
    begin = max(foot, first - _RAMP_S)
    ramp = _after_lull(piece, begin, first)
    t, v = _finite(piece, ramp, first + 45)
    if (t < first).sum() < 4:
        return None
    candidates = np.arange(max(ramp + 2.0, first - 90.0), first + 25.0, 0.5)
    cost, coefficients = _knee_costs(t, v, candidates, probe.time_constant_s)
    best = int(np.argmin(cost))
    level, slope = float(coefficients[best, 0]), float(coefficients[best, 1])
    if slope <= 0:
        return None
    residual_sd = max((float(cost[best]) / max(len(t) - 4, 1)) ** 0.5, noise)
    # Ripple and stirring are correlated over a few seconds: one independent value in about three.
    within = candidates[cost <= cost[best] + residual_sd**2 * 3.84 * 3.0]
    u_curve = max(float(within[-1] - within[0]) / 3.92, 0.3)
    # Where a slow ramp bends into its plateau, what counts as arrival is a matter of a tenth of a kelvin.
    u = float(np.sqrt(u_curve**2 + probe.u_time_constant_s**2 + (ARRIVAL_K / slope) ** 2 + 1.0))
    if u > MOST_U_S:
        return None
    finite = np.flatnonzero(np.isfinite(piece[first:]))
    stays = np.flatnonzero(np.abs(piece[first:][finite] - level) > max(2.0, 6.0 * noise))
    held = int(finite[stays[0]]) if len(stays) else len(piece) - first
    arrival = float(candidates[best]) - min(ARRIVAL_K / slope, 10.0) + offset
    sharpness = _sharpness(*_finite(piece, foot, first + 45), level, float(candidates[best]))
    return Plateau(arrival, u, level, slope, sharpness, float(held))


def _finite(piece: Array, low: int, high: int) -> tuple[Array, Array]:
    """Return positions and values of the finite seconds in a range."""
    t = np.arange(low, min(high, len(piece)), dtype=np.float64) + 0.5
    v = piece[low : low + len(t)]
    good = np.isfinite(v)
    return t[good], v[good]


def _after_lull(piece: Array, begin: int, first: int) -> int:
    """Return where the last rise before `first` begins: a ramp that follows a lull is fitted without it."""
    at = np.arange(begin, max(first - LULL_S, begin))
    if len(at) < LULL_S:
        return begin
    _, _, _, slope, _ = SlidingLines(piece).window(at, at + LULL_S)
    known = np.isfinite(slope)
    if not known.any():
        return begin
    late = np.where(known & (at > first - 60 - LULL_S), slope, -np.inf)
    steepest = int(np.argmax(late)) if np.isfinite(late).any() else int(np.nanargmax(slope))
    with np.errstate(invalid="ignore"):
        lulls = np.flatnonzero(slope[:steepest] < 0.25 * slope[steepest])
    return int(at[lulls[-1]]) + LULL_S // 2 if len(lulls) else begin


def _knee_costs(t: Array, v: Array, knees: Array, lag: float) -> tuple[Array, Array]:
    """Fit plateau level and parabolic ramp for every knee, through the probe's lag.

    With x = knee - t, the lagged responses are x + lag and x² + 2 lag x + 2 lag² on the ramp, and they decay as
    exp(x / lag) after it.
    """
    x = knees[:, None] - t[None, :]
    if lag > 0.05:
        decay = np.exp(np.minimum(x, 0.0) / lag)
        linear = np.where(x >= 0, x + lag, lag * decay)
        square = np.where(x >= 0, x**2 + 2 * lag * x + 2 * lag**2, 2 * lag**2 * decay)
    else:
        linear = np.maximum(x, 0.0)
        square = linear**2
    _, coefficients, residual = profile(np.stack((np.ones_like(x), -linear, -square), axis=2), v)
    # A bounded loss keeps bubbles that knock the probe from pulling the knee.
    size = np.abs(residual)
    bound = 6.0 * np.maximum(MAD_TO_SD * np.median(size, axis=1, keepdims=True), 0.03)
    return np.sum(np.minimum(size, bound) ** 2, axis=1), coefficients


def _sharpness(t: Array, v: Array, level: float, knee: float) -> float:
    """Return the slope close below the plateau over the slope well below it."""
    near = (v > level - 4.0) & (v < level - 1.5) & (t < knee + 5)
    far = (v > level - _RAMP_K) & (v < level - 8.0) & (t < knee)
    if near.sum() < 3 or far.sum() < 3:
        return float("nan")
    slopes = []
    for part in (near, far):
        slope = np.polyfit(t[part], v[part], 1)[0] if np.ptp(t[part]) > 0 else np.nan
        slopes.append(float(slope))
    return slopes[0] / slopes[1] if slopes[1] > 0 else float("nan")


def steam_jump(loss_rate_g_s: Array, t_s: float) -> tuple[float, float] | None:
    """Return the mass loss rate before and after a moment, g/s, or None where either is not known."""
    k = int(t_s)
    before = loss_rate_g_s[max(0, k - 50) : max(0, k - 8)]
    after = loss_rate_g_s[k + 8 : k + 50]
    if np.isfinite(before).sum() < 10 or np.isfinite(after).sum() < 10:
        return None
    return float(np.nanmedian(before)), float(np.nanmedian(after))


def judge(
    plateau: Plateau, boiling_point_c: UFloat, probe: WaterProbe, jump: tuple[float, float] | None
) -> Event | None:
    """Decide whether a plateau is boiling, and how sure that is; None where it is not."""
    u = float(np.hypot(probe.u_bias_k, boiling_point_c.std_dev))
    difference = plateau.level_c - boiling_point_c.nominal_value
    sharp = plateau.sharpness >= SHARP if np.isfinite(plateau.sharpness) else None
    steams = jump is not None and jump[1] - jump[0] > max(0.05, 0.3 * abs(jump[0]))
    agrees = abs(difference) <= AGREEMENT * u
    if not agrees and not (sharp and steams and abs(difference) <= KNEE_BAND_K):
        return None
    if sharp is False and not steams and abs(difference) > 0.7 * u:
        return None
    told_by_probe = u <= SURE_U_K and (sharp is not False or steams)
    confirmed = agrees and (told_by_probe or bool(sharp and steams))
    met = (
        f"ramp of {plateau.slope_k_s * 60:.1f} K/min met a plateau at {plateau.level_c:.1f} °C, "
        f"{abs(difference):.1f} K {'above' if difference >= 0 else 'below'} the local boiling point "
        f"{boiling_point_c.nominal_value:.1f} °C (standard uncertainty of the difference {u:.1f} K), "
        f"held {plateau.held_s:.0f} s"
    )
    words = [met]
    if steams and jump is not None:
        words.append(f"mass loss rose from {jump[0] * 60:.0f} to {jump[1] * 60:.0f} g/min as steam left")
    if sharp:
        words.append("the ramp ended sharply, which a pot that stalls does not show")
    if not confirmed:
        if agrees:
            words.append("unconfirmed: the probe's uncertainty leaves room for a stall just below boiling")
        else:
            words.append(
                "unconfirmed: the plateau disagrees with the boiling point by more than the probe's uncertainty"
            )
    return Event(EventKind.BOIL, plateau.t_s, plateau.u_s, "; ".join(words), None, confirmed)
