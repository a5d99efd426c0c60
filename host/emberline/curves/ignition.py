"""`lit`: when the fuel caught.

Two witnesses. A flame probe leaves the air's temperature within seconds; its onset is where its first rise, taken as a
line, meets the level before it, or where a small flame began to lick at it. The load cell sees mass go: before lighting
it is level (up to a slow drift), afterwards it falls ever faster, and the onset of that quadratic is found by least
squares over every candidate second. The flame mostly reaches its probe at once, but now and then it takes up to a
minute: how far the loss of mass points to that is weighed (`dated_by_both`).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from emberline.curves.disturbances import LEAST_NOISE_G
from emberline.curves.events import Event, EventKind
from emberline.curves.fast_loss import LEAST_BURNT_G
from emberline.curves.grid import Column
from emberline.curves.robust import mad_sd, profile, without_spikes

Array = NDArray[np.float64]

FLAME_RISE_K = 60.0
"""Rise of a flame probe above its quiet level that no sunshine or warm stove gives."""
HOT_C = 120.0
"""Temperature of a flame probe that says that the stove already burns."""
AT_ONCE_S = 10
"""A loss that is seen within so many seconds of the first that it could be was there from the beginning."""
FLAME_HOLD_S = 10
"""Seconds for which that rise must last: a flame is called sustained from ten seconds (ISO 5660-1, from memory)."""
LICK_K, LICK_SHARE, LICK_U = 15.0, 0.3, 0.25
"""A small flame licks at the probe: its rise, the least share of seconds in which it is seen, and the standard
uncertainty of its first second as a share of the time until the flame stays (common practice, no source)."""
LOSS_RATE_G_S = 0.012
"""Slowest mass loss that counts as burning, g/s (0.7 g/min): a load cell that warms or creeps drifts slower."""
LOSS_G = 1.5
"""Least mass lost before a live run believes the load cell alone."""
BURNT_WITHIN_S = 300
"""Seconds in which any fire has burnt as much as a load cell's own errors reach (`LEAST_BURNT_G`)."""
LOOK_S = (30, 60, 120, 240)
"""Seconds of loss that are looked at together, shortest first."""
LATE_SHARE = 0.15
"""Share of fires whose flame reaches the probe late: lit at one side, or kindled under a heap (no source)."""
LATE_S = 60.0
"""Longest time that takes (common practice, no source)."""
SLIP_SHARE, SLIP_WITHIN_S = 0.1, 240.0
"""How often the load cell's onset is none, beside a flame that a probe sees come: a drift, a gust, a hand; and the
stretch in which it may then be (no source)."""
MOST_KEPT = 0.95
"""Most of a departure that a second's reading shares with the one before."""
UNKNOWNS = 4
"""Level, drift, pace and growth of what is fitted."""
NEGLIGIBLE = 1e-3
"""Share of a mixture that is left out."""


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


def find_lit(
    masked_g: Array, noise_g: Array, flame: Column | None, *, flame_lag_s: float = 0.0, starter_g: float = 0.0
) -> Event | None:
    """Find when the fuel caught, or None where nothing says that it did within this record.

    A record whose mass already falls, or whose flame probe is already hot, at its first second began mid-burn: it has
    no `lit`.

    Args:
        masked_g: (n,) mass with steps removed, NaN where spoilt or without a load cell.
        noise_g: (n,) noise of that mass.
        flame: The flame probe's column, where fitted.
        flame_lag_s: Time constant of the flame probe.
        starter_g: Liquid starter on the fuel, which burns off whether or not the fuel catches.
    """
    if flame is not None and hot_at_start(flame):
        return None
    by_flame = flame_onset(flame, flame_lag_s) if flame is not None else None
    by_mass = mass_onset(masked_g, noise_g, starter_g)
    if by_flame is not None and by_mass is None and _nothing_caught(masked_g, noise_g, by_flame.t_s, starter_g):
        return None
    if by_flame is not None:
        # Far apart: a flame probe warmed by hand or sun long before, or a stove that died and was lit again.
        apart = by_mass is not None and abs(by_flame.t_s - by_mass.t_s) > 600.0
        chosen = by_mass if by_mass is not None and apart else dated_by_both(by_flame, by_mass)
    elif by_mass is None or _stayed_cold(flame):
        return None
    else:
        chosen = kindled_by_little(by_mass)
    return Event(EventKind.LIT, chosen.t_s, chosen.u_s, chosen.evidence)


def dated_by_both(by_flame: Onset, by_mass: Onset | None) -> Onset:
    """Weigh a flame probe's onset with a load cell's, where there is one.

    A mixture of two cases: the flame reached its probe at once, and the probe dates the match; or it took some time up
    to `LATE_S`, the likelier the shorter, and the load cell tells how long. The odds are those of the cell's onset in
    either case, which may be none, times how often each happens. Mean and standard deviation of the mixture are given.
    """
    late_s = np.linspace(0.0, min(LATE_S, by_flame.t_s), 241)
    density = LATE_S - late_s
    density = density / density.sum()
    odds = LATE_SHARE / (1.0 - LATE_SHARE)
    if by_mass is not None:
        early_s = by_flame.t_s - by_mass.t_s
        at_once = _onset_density(np.array([early_s]), float(np.hypot(by_flame.u_s, by_mass.u_s)))
        density = density * _onset_density(late_s - early_s, by_mass.u_s)
        odds *= float(density.sum()) / float(at_once[0])
    share = odds / (1.0 + odds)
    if density.sum() <= 0.0 or share < NEGLIGIBLE:
        return by_flame
    mean_late_s = float(np.average(late_s, weights=density))
    late_u2 = float(np.average((late_s - mean_late_s) ** 2, weights=density))
    return Onset(
        by_flame.t_s - share * mean_late_s,
        float(np.sqrt((1.0 - share) * by_flame.u_s**2 + share * late_u2 + share * (1.0 - share) * mean_late_s**2)),
        by_flame.evidence if by_mass is None else f"{by_flame.evidence}; {by_mass.evidence}",
    )


def _onset_density(off_s: Array, u_s: float) -> Array:
    """Return the density of a load cell's onset that is off by so much."""
    return (1.0 - SLIP_SHARE) * _normal(off_s, u_s) + SLIP_SHARE / SLIP_WITHIN_S


def kindled_by_little(by_mass: Onset) -> Onset:
    """Weigh a load cell's onset that no probe backs: what some fires are kindled with is too light for it.

    As in `dated_by_both`, some fires show late, the likelier the shorter: mean and standard deviation of that mixture.
    """
    mean_s = LATE_SHARE * LATE_S / 3.0
    late_u2 = LATE_SHARE * LATE_S**2 / 6.0 - mean_s**2
    return replace(by_mass, t_s=max(0.0, by_mass.t_s - mean_s), u_s=float(np.hypot(by_mass.u_s, late_u2**0.5)))


def _normal(x: Array, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * (x / sd) ** 2) / (sd * (2.0 * np.pi) ** 0.5))


def _stayed_cold(flame: Column | None) -> bool:
    """Tell whether a fitted flame probe never warmed, which outvotes a slow loss of mass."""
    if flame is None or np.isfinite(flame.value[:60]).sum() <= 5:
        return False
    hottest = float(np.nanmax(flame.value))
    return hottest < float(np.nanmedian(flame.value[:60])) + FLAME_RISE_K and hottest < 150.0


def _nothing_caught(masked_g: Array, noise_g: Array, flame_s: float, starter_g: float) -> bool:
    """Tell whether a load cell saw no more go in the minutes after a flame came than starter and its own errors."""
    at = int(flame_s)
    before, after = masked_g[max(0, at - 20) : at], masked_g[at + BURNT_WITHIN_S : at + BURNT_WITHIN_S + 20]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if min(len(before), len(after)) < 10:
        return False
    # Two medians of some seconds each, in gusts as long as they.
    u_g = 2.0**0.5 * float(np.nanmedian(noise_g))
    return bool(np.median(before) - np.median(after) + 2.0 * u_g < LEAST_BURNT_G + starter_g)


def begun_mid_burn(masked_g: Array, noise_g: Array, flame: Column | None, *, starter_g: float = 0.0) -> bool:
    """Tell whether a record in which no lighting is found shows a fire all the same: it began mid-burn.

    Arguments are those of `find_lit`.
    """
    if flame is not None and hot_at_start(flame):
        return True
    return loss_trigger(masked_g, noise_g, starter_g) is not None and not _stayed_cold(flame)


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
        lick = _first_lick(flame.t_s[finite[: foot + 1]], v[: foot + 1], base + max(LICK_K, 6.0 * noise))
        if lick is not None and lick < onset:
            onset, u = lick, float(np.hypot(u, LICK_U * (onset - lick)))
        rise = float(v[i:][later[i:]].max())
        words = f"flame probe rose from {quiet:.0f} to {rise:.0f} °C within {t1 - onset + FLAME_HOLD_S:.0f} s"
        return Onset(max(0.0, onset), max(u, 0.5), words)
    return None


def _first_lick(t_s: Array, v: Array, warm_c: float) -> float | None:
    """Return when flames began to lick at a probe that they do not yet reach for good; None where they did not."""
    recent = t_s > t_s[-1] - LATE_S
    t_s, warm = t_s[recent], v[recent] > warm_c
    if not warm.any():
        return None
    first = int(np.argmax(warm))
    return float(t_s[first]) if warm[first:].mean() > LICK_SHARE else None


def mass_onset(masked_g: Array, noise_g: Array, starter_g: float = 0.0) -> Onset | None:
    """Return the onset of sustained mass loss, or None where there is none or it precedes the record."""
    seen = loss_trigger(masked_g, noise_g, starter_g)
    if seen is None:
        return None
    trigger, length = seen
    low, high = max(0, trigger - 270 - length), min(len(masked_g), trigger + LOOK_S[0] // 2)
    t = np.arange(low, high, dtype=np.float64) + 0.5
    v = masked_g[low:high]
    good = np.isfinite(v)
    t, v = t[good], v[good]
    if len(t) < 12:
        return None
    candidates = np.arange(low, trigger + 1, dtype=np.float64)
    score, shapes, residuals = _onset_costs(t, v, candidates)
    best = int(np.argmin(score))
    onset = float(candidates[best])
    noise = max(float(np.nanmedian(noise_g[low:high])), LEAST_NOISE_G)
    falls = -float(shapes[best, 1]) > max(LOSS_RATE_G_S, 0.8 * float(v[0] - v[-1]) / float(t[-1] - t[0]))
    if (t < onset).sum() < 4 or (falls and trigger - length < AT_ONCE_S):
        return None  # falling from the first second: the record began mid-burn
    u = max(_spread_s(candidates, score, residuals[best], onset), 1.0)
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


def _spread_s(candidates: Array, squares: Array, residual: Array, onset_s: float) -> float:
    """Return the root mean square distance of the candidates from the likeliest, each by its likelihood.

    Gusts last for seconds: readings that share their departures count for as many fewer (by lag-one correlation;
    Bayley and Hammersley, J. R. Stat. Soc. Suppl. 8 (1946) 184, from memory).
    """
    power = max(float(residual @ residual), len(residual) * LEAST_NOISE_G**2)
    kept = float(np.clip(residual[1:] @ residual[:-1] / power, 0.0, MOST_KEPT))
    one = power / max(len(residual) - UNKNOWNS, 1) * (1.0 + kept) / (1.0 - kept)
    likelihood = np.exp(-0.5 * (squares - squares.min()) / one)
    return float(np.sqrt(np.average((candidates - onset_s) ** 2, weights=likelihood)))


def loss_trigger(masked_g: Array, noise_g: Array, starter_g: float = 0.0) -> tuple[int, int] | None:
    """Return the first second by which sustained mass loss is beyond doubt, and over how many seconds it was seen.

    None where there is none. What wind hides in half a minute shows in some minutes: several lengths are tried, and the
    one that is sure first counts. A starter that burns off and leaves the fuel cold is none.
    """
    found = [
        (second, length) for length in LOOK_S if (second := _trigger(masked_g, noise_g, length, starter_g)) is not None
    ]
    return min(found, default=None)


def _trigger(masked_g: Array, noise_g: Array, length: int, starter_g: float) -> int | None:
    """Return the first second by which a loss over `length` seconds is beyond doubt."""
    n = len(masked_g)
    if n <= length:
        return None
    longer = length / LOOK_S[0]
    level = _running_median(masked_g, 2 * round(3.5 * longer) - 1)
    before, half = np.full(n, np.nan), np.full(n, np.nan)
    before[length:] = level[: n - length]
    half[length // 2 :] = level[: n - length // 2]
    with np.errstate(invalid="ignore"):
        lost = before - level
        late = half - level
        # Gusts last for seconds: noise falls by the root of the length.
        need = np.maximum(np.maximum(LOSS_G, 5.0 * noise_g / longer**0.5), LOSS_RATE_G_S * length)
        sure = (lost > need) & (late > 0.25 * lost) & (late < 0.9 * lost + need)
    # It must go on: what comes back was a gust, not a loss.
    later = np.full(n, np.nan)
    later[: n - length] = level[length:]
    much_later = np.full(n, np.nan)
    much_later[: max(n - BURNT_WITHIN_S, 0)] = level[BURNT_WITHIN_S:]
    with np.errstate(invalid="ignore"):
        goes_on = ~np.isfinite(later) | (level - later > 0.3 * lost)
        burns = ~np.isfinite(much_later) | (before - much_later > LEAST_BURNT_G + starter_g)
    found = np.flatnonzero(sure & goes_on & burns)
    return int(found[0]) if len(found) else None


def _running_median(values: Array, width: int) -> Array:
    """Return the median of what is known of each value and its neighbours, (n,); NaN where nothing is."""
    beyond = np.full(width // 2, np.nan)
    # What is not known comes last.
    ordered = np.sort(sliding_window_view(np.concatenate((beyond, values, beyond)), width), axis=1)
    count, rows = np.isfinite(ordered).sum(axis=1), np.arange(len(values))
    middle = 0.5 * (ordered[rows, (count - 1) // 2] + ordered[rows, count // 2])
    return np.asarray(np.where(count > 0, middle, np.nan))


def _onset_costs(t: Array, v: Array, onsets: Array) -> tuple[Array, Array, Array]:
    """Fit a drifting level that turns into a growing loss at each onset: squares, coefficients and residuals."""
    after = np.maximum(t[None, :] - onsets[:, None], 0.0)
    level = np.ones_like(after)
    # With too little level before it, a drift cannot be told from the loss.
    drift = np.where(((t[None, :] < onsets[:, None]).sum(axis=1) >= 4)[:, None], (t - t[0])[None, :], 0.0)
    return profile(np.stack((level, drift, after, after**2), axis=1), v)
