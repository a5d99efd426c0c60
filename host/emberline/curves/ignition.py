"""`lit`: when the fuel caught.

Two witnesses. A flame probe leaves the air's temperature within seconds; its onset is where its first rise, taken as a
line, meets the level before it, less the probe's lag. The load cell sees mass go: before lighting it is level (up to a
slow drift), afterwards it falls ever faster, and the onset of that quadratic is found by least squares over every
candidate second. Where both speak, the flame mostly reached its probe at once, but now and then it took up to a minute:
how far the loss of mass points to that is weighed (`dated_by_both`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Column
from emberline.curves.robust import mad_sd, profile, without_spikes

Array = NDArray[np.float64]

FLAME_RISE_K = 60.0
"""Rise of a flame probe above its quiet level that no sunshine or warm stove gives."""
HOT_C = 120.0
"""Temperature of a flame probe that says that the stove already burns."""
FLAME_HOLD_S = 10
"""Seconds for which that rise must last: a flame is called sustained from ten seconds (ISO 5660-1, from memory)."""
LOSS_RATE_G_S = 0.012
"""Slowest mass loss that counts as burning, g/s (0.7 g/min): a load cell that warms or creeps drifts slower."""
LOSS_G = 1.5
"""Least mass lost before a live run believes the load cell alone."""
CONFIRM_S = 30
"""Seconds of loss that are looked at together."""
LATE_SHARE = 0.15
"""Share of fires whose flame reaches the probe late: lit at one side, or kindled under a heap (no source)."""
LATE_S = 60.0
"""Longest time that takes (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Onset:
    """A candidate for the moment of lighting.

    Attributes:
        t_s: When.
        u_s: Standard uncertainty.
        evidence: Why.
    """

    t_s: float
    u_s: float
    evidence: str


def find_lit(masked_g: Array, noise_g: Array, flame: Column | None, *, flame_lag_s: float = 0.0) -> Event | None:
    """Find when the fuel caught, or None where nothing says that it did within this record.

    A record whose mass already falls, or whose flame probe is already hot, at its first second began mid-burn: it has
    no `lit`.

    Args:
        masked_g: (n,) mass with steps removed, NaN where spoilt or without a load cell.
        noise_g: (n,) noise of that mass.
        flame: The flame probe's column, where fitted.
        flame_lag_s: Time constant of the flame probe.
    """
    if flame is not None and hot_at_start(flame):
        return None
    by_flame = flame_onset(flame, flame_lag_s) if flame is not None else None
    by_mass = mass_onset(masked_g, noise_g)
    if by_flame is not None and by_mass is not None:
        # Far apart: a flame probe warmed by hand or sun long before, or a stove that died and was lit again.
        chosen = by_mass if abs(by_flame.t_s - by_mass.t_s) > 600.0 else dated_by_both(by_flame, by_mass)
    else:
        only = by_flame or by_mass
        if only is None:
            return None
        chosen = only
        if flame is not None and by_flame is None and np.isfinite(flame.value[:60]).sum() > 5:
            # A fitted flame probe that never warmed outvotes a slow loss of mass.
            hottest = float(np.nanmax(flame.value))
            if hottest < np.nanmedian(flame.value[:60]) + FLAME_RISE_K and hottest < 150.0:
                return None
    return Event(EventKind.LIT, chosen.t_s, chosen.u_s, chosen.evidence)


def dated_by_both(by_flame: Onset, by_mass: Onset) -> Onset:
    """Weigh a flame probe's onset with a load cell's.

    A mixture of two cases: the flame reached its probe at once, and the probe dates the match; or it took any time up
    to `LATE_S`, and the load cell does, within that time. The odds are those of the cell's onset in either case times
    how often each happens. Mean and standard deviation of the mixture are given.
    """
    early_s = by_flame.t_s - by_mass.t_s
    if early_s <= 0.0:
        return by_flame
    u_apart_s = float(np.hypot(by_flame.u_s, by_mass.u_s))
    at_once = (1.0 - LATE_SHARE) * np.exp(-0.5 * (early_s / u_apart_s) ** 2) / (u_apart_s * (2.0 * np.pi) ** 0.5)
    t_s = np.linspace(max(by_flame.t_s - LATE_S, 0.0), by_flame.t_s, 241)
    density = np.exp(-0.5 * ((t_s - by_mass.t_s) / by_mass.u_s) ** 2) / (by_mass.u_s * (2.0 * np.pi) ** 0.5)
    late = LATE_SHARE * float(density.mean())
    if late <= 1e-3 * at_once or density.sum() <= 0.0:
        return by_flame
    share = late / (late + at_once)
    late_t_s = float(np.average(t_s, weights=density))
    late_u2 = float(np.average((t_s - late_t_s) ** 2, weights=density))
    apart2 = share * (1.0 - share) * (by_flame.t_s - late_t_s) ** 2
    return Onset(
        by_flame.t_s + share * (late_t_s - by_flame.t_s),
        float(np.sqrt((1.0 - share) * by_flame.u_s**2 + share * late_u2 + apart2)),
        f"{by_flame.evidence}; {by_mass.evidence}",
    )


def begun_mid_burn(masked_g: Array, noise_g: Array, flame: Column | None) -> bool:
    """Tell whether a record in which no lighting is found shows a fire all the same: it began mid-burn.

    Arguments are those of `find_lit`.
    """
    if flame is not None and hot_at_start(flame):
        return True
    return loss_trigger(masked_g, noise_g) is not None


def hot_at_start(flame: Column) -> bool:
    """Tell whether a flame probe is hot from the first seconds on: the record began mid-burn."""
    first = flame.value[np.isfinite(flame.value)][:15]
    return len(first) > 0 and float(np.median(first)) > HOT_C


def flame_onset(flame: Column, lag_s: float = 0.0) -> Onset | None:
    """Return the onset of the flame probe's first sustained rise, or None."""
    value = without_spikes(flame.value, floor=2.0)
    finite = np.flatnonzero(np.isfinite(value))
    if len(finite) < 8:
        return None
    v = value[finite]
    base = float(np.median(v[: min(len(v), 20)]))
    if base > HOT_C:
        return None
    noise = max(mad_sd(np.diff(v[:60])) / 2**0.5, 0.3)
    base_curve = np.minimum.accumulate(np.where(v < base + FLAME_RISE_K, np.maximum(v, base - 5.0), np.inf))
    hot = v > base_curve + FLAME_RISE_K
    for i in np.flatnonzero(hot):
        later = finite <= finite[i] + FLAME_HOLD_S
        window = hot[i:][later[i:]]
        if finite[-1] < finite[i] + FLAME_HOLD_S or window.mean() < 0.8:
            continue
        crossing = int(i)
        # Walk down the rise to where it leaves the quiet level.
        foot = crossing
        while foot > 0 and v[foot - 1] < v[foot] and v[foot - 1] > base + 4.0 * noise:
            foot -= 1
        t0, v0 = float(flame.t_s[finite[foot]]), float(v[foot])
        t1, v1 = float(flame.t_s[finite[crossing]]), float(v[crossing])
        quiet = float(np.median(v[max(0, foot - 10) : foot])) if foot >= 3 else base
        slope = (v1 - v0) / (t1 - t0) if t1 > t0 else np.inf
        onset = t0 - min((v0 - quiet) / slope if slope > 0 else 0.0, 20.0)
        spacing = float(np.median(np.diff(finite))) if len(finite) > 1 else 1.0
        u = float(np.hypot(0.3 * (t1 - onset) + 0.5 * spacing, 0.1 * min(lag_s, 20.0)))
        rise = float(v[i:][later[i:]].max())
        words = f"flame probe rose from {quiet:.0f} to {rise:.0f} °C within {t1 - onset + FLAME_HOLD_S:.0f} s"
        return Onset(max(0.0, onset), max(u, 0.5), words)
    return None


def mass_onset(masked_g: Array, noise_g: Array) -> Onset | None:
    """Return the onset of sustained mass loss, or None where there is none or it precedes the record."""
    trigger = loss_trigger(masked_g, noise_g)
    if trigger is None:
        return None
    low, high = max(0, trigger - 300), min(len(masked_g), trigger + CONFIRM_S // 2)
    t = np.arange(low, high, dtype=np.float64) + 0.5
    v = masked_g[low:high]
    good = np.isfinite(v)
    t, v = t[good], v[good]
    if len(t) < 12:
        return None
    candidates = np.arange(low, trigger + 1, dtype=np.float64)
    score, shapes = _onset_costs(t, v, candidates)
    best = int(np.argmin(score))
    onset = float(candidates[best])
    before = -float(shapes[best, 1])
    if (t < onset).sum() < 4 or before > max(LOSS_RATE_G_S, 0.8 * float(v[0] - v[-1]) / float(t[-1] - t[0])):
        return None  # falling from the first second: the record began mid-burn
    noise = max(float(np.nanmedian(noise_g[low:high])), 0.02)
    within = candidates[score <= score[best] + noise**2 * 3.84]
    u = max((float(within[-1]) - float(within[0])) / 3.92, 1.0)
    lost = float(np.median(v[:4]) - np.median(v[-4:]))
    # What the first glow loses is below the cell's noise: a match is struck some time before the onset that can be
    # seen, the longer the slower the loss then grows.
    pace, growth = max(-float(shapes[best, 2]), 0.0), max(-float(shapes[best, 3]), 1e-6)
    unseen = (np.hypot(pace, 2.0 * (3.0 * noise * growth) ** 0.5) - pace) / (2.0 * growth)
    return Onset(
        onset,
        float(np.sqrt(u**2 + 16.0 + min(float(unseen), 60.0) ** 2)),
        f"mass began to fall, {lost:.1f} g in the first {t[-1] - onset:.0f} s",
    )


def loss_trigger(masked_g: Array, noise_g: Array) -> int | None:
    """Return the first second by which sustained mass loss is beyond doubt, or None."""
    n = len(masked_g)
    if n <= CONFIRM_S:
        return None
    k = np.arange(n)
    level = _running_median(masked_g, 7)
    before = np.full(n, np.nan)
    before[CONFIRM_S:] = level[: n - CONFIRM_S]
    half = np.full(n, np.nan)
    half[CONFIRM_S // 2 :] = level[: n - CONFIRM_S // 2]
    with np.errstate(invalid="ignore"):
        lost = before - level
        late = half - level
        need = np.maximum(np.maximum(LOSS_G, 5.0 * noise_g), LOSS_RATE_G_S * CONFIRM_S)
        sure = (lost > need) & (late > 0.25 * lost) & (late < 0.9 * lost + need)
    # It must go on: what comes back was a gust, not a loss.
    later = np.full(n, np.nan)
    later[: n - CONFIRM_S] = level[CONFIRM_S:]
    with np.errstate(invalid="ignore"):
        goes_on = ~np.isfinite(later) | (level - later > 0.3 * lost)
    found = k[sure & goes_on]
    return int(found[0]) if len(found) else None


def _running_median(values: Array, width: int) -> Array:
    padded = np.pad(values, width // 2, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)
    empty = np.asarray(~np.isfinite(windows).any(axis=1))
    filled = np.where(empty[:, None], 0.0, windows)
    median = np.nanmedian(filled, axis=1)
    median[empty] = np.nan
    return np.asarray(median)


def _onset_costs(t: Array, v: Array, onsets: Array) -> tuple[Array, Array]:
    """Fit a drifting level that turns into a growing loss at each onset: squared residuals and coefficients."""
    after = np.maximum(t[None, :] - onsets[:, None], 0.0)
    level = np.ones_like(after)
    # With too little level before it, a drift cannot be told from the loss.
    drift = np.where(((t[None, :] < onsets[:, None]).sum(axis=1) >= 4)[:, None], (t - t[0])[None, :], 0.0)
    cost, coefficients, _ = profile(np.stack((level, drift, after, after**2), axis=2), v)
    return cost, coefficients
