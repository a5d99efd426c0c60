"""The end of flame at a flame probe: where the temperature leaves the flame for the afterglow.

Before it the probe sees the flame: a level that wanders along a parabola, follows the burning rate, and flickers. After
it the probe cools towards the calmer level over glowing char, as a first-order sensor does, while that level itself
settles. Each candidate second splits the record into the two, each with a scatter of its own, and the likelihood picks
the split. The burning rate has its say: while fuel still leaves far faster than at any observed flameout, and does not
cease soon, a sinking flame is only weakening.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.signal import lfilter

from emberline.curves.fast_loss import LEAST_FLAMING_S, averaged
from emberline.curves.flicker import (
    CALM_K,
    CALM_SHARE,
    FLAME_C,
    FLICKER_S,
    HOT_S,
    LEAST_FLICKER_K,
    STILL_SHARE,
    UNCLEAR_S,
    UNSURE_SHARE,
    cleaned,
    flicker,
)
from emberline.curves.grid import Column
from emberline.curves.robust import profile

Array = NDArray[np.float64]

FLAMEOUT_SHARE = 0.15
"""Share of the flaming rate at which flame ends: the middle of the 9-20 % at which it was seen to end in
cone-calorimeter burns of wood."""
U_FLAMEOUT_SHARE = 0.06
"""Standard uncertainty of the share of the flaming rate at which flame ends."""
CEASES_S = 30
"""Seconds in which the fuel's loss dies away after a flame that was blown out or starved."""
MOST_MEMORY = 0.97
"""Most of a departure that a second keeps."""
LEAST_NEWS_K2 = 0.1
"""Least mean square of what a second adds to its departure: a chance run of equal codes is not infinitely calm."""
TOGETHER = 3.0
"""Seconds that count as one where a flame's flicker is no steady noise."""
TAUS_S = (3.0, 8.0, 20.0, 45.0)
"""Time constants tried for a flame probe's fall, s: from a bare bead to a sheath of 3 mm."""
FINE_TAUS_S = tuple(np.geomspace(2.0, 45.0, 9).tolist())
"""The same where a fall that was found is dated: a constant that is off by half bends away from the fall's beginning by
more than an afterglow scatters, and that beginning would count as flame."""
LATE_BY_S, SOON_BY_S = 16.0, 6.0
"""By how much a fall that was found with the few time constants may be dated late and soon, s."""
SETTLING_S = 65.0
"""Time constant with which glowing char and stove settle once the flame is gone, s."""
USUAL_LAG_S = 10.0
"""Lag of a flame probe of which nothing is known, s."""
LEAST_DROP_K = 40.0
"""Least fall of a flame probe that tells flame from afterglow."""
LEAST_DROP_SHARE = 0.12
"""The same as a share of its flaming temperature."""
LATELY_S = 70.0
"""Seconds before the last fall in which a flame that came back after a calm flickers."""
STOPS_SHARE = 0.3
"""Share of the flame's flicker below which it has stopped, whatever the temperature."""
GLOW_SHARE = 0.6
"""Most flicker, over that of the flame, of char that glows up again."""
GLOW_S = 121
"""Readings from which the level of an afterglow is taken."""
LONG_LOW_S = 180.0
"""Time that no flame lasts on so little fuel."""
BLURRED_S = 12.0
"""By how much the moment found for a second fall may be late, s."""
STEEP_S, FALLING_S = 6, 40.0
"""Readings over which a fall is steep, and seconds by which its end may be late."""
STEEP_SHARE = 0.1
"""Share of what is left by which it falls in them."""
MOST_TOO_SOON = 4.0
"""Squared deviations of the fuel's rate with which a first, calm fall may still be the flame's."""
SETTLED_S = 16.0
"""Seconds, twice in a row, by which an afterglow shows that it has settled."""
BEFORE_S, AFTER_S = 150.0, 120.0
"""Reach of the fit before the probe has fallen half-way, and after it has fallen almost to its afterglow."""
WARM_SHARE = 0.15
"""Share of the fall from flame to afterglow above which a flame may still burn."""
DYING_S = 700.0
"""Longest dying of a flame after the probe has fallen half-way, s."""
TAIL_S = 25
"""Seconds of afterglow without which nothing is said."""


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

    Where char is smothered after the flame the probe falls a second time: a calm stretch before the last fall, entered
    from flicker, is the end of flame.

    Args:
        flame: The flame probe's column.
        lit_s: When the fuel caught; None where the record began mid-burn.
        share: (n,) burning rate over its flaming level, where known.
        lag_s: The probe's time constant; 0 where unknown.
    """
    value = cleaned(flame)
    begin = int(lit_s) + 20 if lit_s is not None else 0
    finite = np.flatnonzero(np.isfinite(value))
    finite = finite[finite >= begin]
    if len(finite) < LEAST_FLAMING_S:
        return None
    t, v = flame.t_s[finite], value[finite]
    rate = _Rate(share, lag_s) if share is not None else None
    found = _last_fall(t, v, rate, lag_s)
    if found is None:
        return None
    drop, near = found
    return _dated(drop, t[near], v[near], rate)


def _last_fall(t: Array, v: Array, rate: "_Rate | None", lag_s: float) -> tuple[Drop, NDArray[np.bool_]] | None:
    """Return the last fall, about when it began, and the readings by which it was found; None where there is none."""
    calm = averaged(v, 9)
    after = float(np.median(v[-30:]))
    top = float(np.quantile(calm, 0.98))
    in_flame = calm > 0.5 * (top + after)
    # However long the afterglow was recorded, the flame is as hot as it was while it burnt.
    hot = float(np.median(calm[in_flame])) if in_flame.any() else top
    if hot < FLAME_C or after > _coolest_flame_c(hot):
        return None
    # Char that glows up once the flame is gone can warm the probe again, calmly: the lowest it came to ended the fall.
    steady = median_filter(v, GLOW_S, mode="nearest")
    fallen = _last(calm > 0.5 * (hot + after))
    lowest = fallen + int(np.argmin(steady[fallen:]))
    after = min(after, float(steady[lowest]))
    warm = calm > 0.5 * (hot + after)
    again = warm & (t > t[lowest])
    if again.any() and flicker(v[again]) < GLOW_SHARE * max(flicker(v[in_flame]), LEAST_FLICKER_K):
        warm &= ~again
    crossing = float(t[_last(warm)])
    if t[-1] - crossing < TAIL_S / 2:
        return None
    # A dying flame may warm the probe little more than its afterglow does, long after it has fallen half-way.
    still_warm = (calm > after + WARM_SHARE * (hot - after)) & (t < crossing + DYING_S)
    # Before a rise from the afterglow's level another flame burnt, or none.
    cold = np.flatnonzero((calm < after + WARM_SHARE * (hot - after)) & (t < crossing))
    caught_s = float(t[cold[-1]]) if len(cold) else -np.inf
    near = (t > max(crossing - BEFORE_S, caught_s)) & (t < float(t[_last(still_warm)]) + AFTER_S)
    drop = _split(t[near], v[near], rate, lag_s)
    if drop is None:
        return None
    for until_s in (drop.t_s - BLURRED_S, _before_steep(drop, t, v)):
        if not _had_settled(until_s, t, v, hot):
            continue
        flickers_s = _flickers_until(t[t < until_s], v[t < until_s], calm[t < until_s] > 0.5 * (top + after))
        since_s = min(crossing, until_s - 40.0, flickers_s)
        # What glows up again afterwards is no part of the fall.
        between = (t >= since_s) & (t < until_s)
        lowest_s = float(t[between][np.argmin(calm[between])]) if between.any() else until_s
        earlier = (t > max(since_s - BEFORE_S, caught_s)) & (t < min(until_s, lowest_s + AFTER_S))
        first = _split(t[earlier], v[earlier], rate, lag_s)
        if first is not None and first.t_s < until_s - UNCLEAR_S:
            break
    else:
        return drop, near
    in_flame = (t > first.t_s - HOT_S) & (t < first.t_s - UNCLEAR_S)
    between = (t > max(first.t_s + 2.0 * UNCLEAR_S, until_s - LATELY_S)) & (t < until_s)
    left = flicker(v[between]) / max(flicker(v[in_flame]), LEAST_FLICKER_K)
    # Char that glows up warms the probe again, and flickers; a flame that dwindles on little fuel only sinks.
    glows_up = _warmed_again(steady[(t > first.t_s) & (t < until_s)], hot)
    glows_up = glows_up and left < GLOW_SHARE
    calm_since = left < STILL_SHARE or (rate is not None and glows_up and rate.low_between(first.t_s, until_s))
    if not calm_since:
        return drop, near
    # A flame that dwindles loses its flicker by and by, and its end is the greater fall.
    weaker = first.hot_c - first.after_c < 0.5 * (drop.hot_c - drop.after_c)
    dwindles = weaker and left > UNSURE_SHARE and not glows_up
    if not dwindles and (rate is None or rate.too_soon_at(first.t_s) < MOST_TOO_SOON):
        return first, earlier
    # Neither is sure to be the flame's.
    return replace(drop, u_s=float(np.hypot(drop.u_s, 0.5 * (drop.t_s - first.t_s)))), near


def _coolest_flame_c(hot_c: float) -> float:
    """Return the temperature below which a probe that was so hot in flame stands in none."""
    return hot_c - max(LEAST_DROP_K, LEAST_DROP_SHARE * hot_c)


def _last(mask: NDArray[np.bool_]) -> int:
    """Return the last index that holds."""
    return int(np.flatnonzero(mask)[-1])


def _before_steep(drop: Drop, t: Array, v: Array) -> float:
    """Return the last moment before a steep fall which the split has dated at its end, as that of a smothered fire."""
    near = np.flatnonzero((t > drop.t_s - FALLING_S) & (t <= drop.t_s))
    near = near[near >= 2 * STEEP_S]
    if len(near) == 0:
        return drop.t_s
    at = int(near[np.argmax(v[near - STEEP_S] - v[near])])
    while at > 2 * STEEP_S and v[at - STEEP_S] - v[at] > STEEP_SHARE * (v[at - STEEP_S] - drop.after_c):
        at -= 1
    return float(t[at - STEEP_S])


def _warmed_again(level_c: Array, hot_c: float) -> bool:
    """Tell whether a curve rose from its lowest by more than a small share of the way back to the flame."""
    if len(level_c) == 0:
        return False
    lowest = np.minimum.accumulate(level_c)
    return bool((level_c - lowest > WARM_SHARE * (hot_c - lowest)).any())


def _had_settled(end_s: float, t: Array, v: Array, hot_c: float) -> bool:
    """Tell whether a curve stood in an afterglow until a moment: cooler than flame, and sinking no further."""
    late = v[(t > end_s - SETTLED_S) & (t < end_s)]
    middle = v[(t > end_s - 2 * SETTLED_S) & (t <= end_s - SETTLED_S)]
    if len(late) < 5 or len(middle) < 5:
        return False
    level = float(np.median(late))
    return level < _coolest_flame_c(hot_c) and abs(float(np.median(middle)) - level) < 0.1 * (hot_c - level)


def _flickers_until(t: Array, v: Array, in_flame: NDArray[np.bool_]) -> float:
    """Return the last moment at which a curve flickers about as it does in flame."""
    usual = max(flicker(v[in_flame]), LEAST_FLICKER_K)
    jumps = np.minimum(np.abs(v[6:] - 2.0 * v[3:-3] + v[:-6]), 3.0 * usual)
    flickers = np.flatnonzero(averaged(jumps, FLICKER_S) > STILL_SHARE * usual)
    return float(t[3 + flickers[-1]]) if len(flickers) else float(t[0])


class _Rate:
    """The burning rate as a share of flaming, as it bears on a flame probe."""

    def __init__(self, share: Array, lag_s: float) -> None:
        known = np.where(np.isfinite(share), share, FLAMEOUT_SHARE)
        self._t, self._known = np.arange(len(known)) + 0.5, known
        # The lowest of the seconds to come: after a sudden end the fuel smokes on for a while.
        padded = np.pad(known, (0, CEASES_S), mode="edge")
        self._soon = np.lib.stride_tricks.sliding_window_view(padded, CEASES_S + 1).min(axis=1)
        memory = float(np.exp(-1.0 / max(lag_s, USUAL_LAG_S)))
        self._lagged, _ = lfilter([1.0 - memory], [1.0, -memory], known, zi=known[:1] * memory)

    def too_soon(self, t_s: Array) -> Array:
        """Return by how many squared deviations fuel leaves too fast for an end of flame at each moment."""
        at = np.interp(t_s, self._t, self._soon)
        return np.asarray(np.maximum((at - FLAMEOUT_SHARE) / U_FLAMEOUT_SHARE, 0.0) ** 2)

    def too_soon_at(self, t_s: float) -> float:
        """Return the same for one moment."""
        return float(self.too_soon(np.array([t_s]))[0])

    def low_between(self, from_s: float, to_s: float) -> bool:
        """Tell whether, all through a long time between two moments, no more fuel left than at an end of flame."""
        between = (self._t > from_s) & (self._t < to_s)
        most = FLAMEOUT_SHARE + U_FLAMEOUT_SHARE
        return to_s - from_s > LONG_LOW_S and float(np.quantile(self._known[between], 0.9)) < most

    def seen_by_probe(self, t_s: Array) -> Array:
        """Return the share as it heats the probe, behind its lag."""
        return np.asarray(np.interp(t_s, self._t, self._lagged))


def _split(t: Array, v: Array, rate: _Rate | None, lag_s: float) -> Drop | None:
    """Split a flame probe's curve into flame and afterglow by likelihood."""
    if len(t) < 12:
        return None
    step, memory = _pace(t, v)
    coarse = _split_at(t, v, np.arange(t[0] + 15.0, t[-1] - 10.0, 4.0 * step), TAUS_S, rate, memory)
    if coarse is None:
        return None
    near = np.arange(max(t[0] + 8.0, coarse.t_s - 6.0 * step), min(t[-1] - 8.0, coarse.t_s + 6.0 * step), step)
    fine = _split_at(t, v, near, TAUS_S, rate, memory) or coarse
    # A fall that was not followed to its end could still turn out to be a flame that weakens.
    unseen_s = max(0.0, AFTER_S - 20.0 - float(t[-1] - fine.t_s))
    u_s = float(np.sqrt(coarse.u_s**2 + 9.0 + (0.1 * min(lag_s, 30.0)) ** 2 + (0.3 * unseen_s) ** 2))
    return Drop(fine.t_s, u_s, fine.hot_c, fine.after_c, fine.flicker_k, fine.calm_k)


def _dated(drop: Drop, t: Array, v: Array, rate: _Rate | None) -> Drop:
    """Date a fall that was found, by a time constant that is its own."""
    step, memory = _pace(t, v)
    low, high = drop.t_s - LATE_BY_S * step, drop.t_s + SOON_BY_S * step
    sharp = _split_at(t, v, np.arange(max(t[0] + 8.0, low), min(t[-1] - 8.0, high), step), FINE_TAUS_S, rate, memory)
    return drop if sharp is None else replace(sharp, u_s=drop.u_s)


def _pace(t: Array, v: Array) -> tuple[float, float]:
    """Return the usual distance of readings, s, and what a departure keeps from one second to the next."""
    step = max(1.0, float(np.median(np.diff(t))))
    return step, _memory(v[: len(v) // 2]) ** (1.0 / step)


def _memory(v: Array) -> float:
    """Return how much of a reading's departure from the flame's course the next one keeps: lag-one correlation."""
    x = np.linspace(-1.0, 1.0, len(v))
    residual = v - np.polyval(np.polyfit(x, v, 2), x) if len(v) > 8 else np.zeros(0)
    power = float(residual @ residual)
    return float(np.clip(float(residual[1:] @ residual[:-1]) / power, 0.0, MOST_MEMORY)) if power > 0 else 0.0


def _split_at(
    t: Array, v: Array, onsets: Array, taus_s: tuple[float, ...], rate: _Rate | None, memory: float
) -> Drop | None:
    """Return the likeliest of some splits; its uncertainty is the spread of the likelihood over all of them."""
    if len(onsets) == 0:
        return None
    passed_s = t[None, :] - onsets[:, None]
    flaming = (passed_s < 0.0).astype(np.float64)
    glowing = 1.0 - flaming
    since, passed_s = passed_s / 100.0, np.maximum(passed_s, 0.0)
    rows = [flaming, flaming * since, flaming * since**2, glowing, glowing * since]
    rows.append(glowing * np.exp(-passed_s / SETTLING_S))
    if rate is not None:
        rows.append(flaming * (rate.seen_by_probe(t)[None, :] - rate.seen_by_probe(onsets)[:, None]))
    # All but the fall itself is the same for every time constant.
    shared = np.stack(rows, axis=1)
    fall = glowing[:, None] * np.exp(-passed_s[:, None] / np.array(taus_s)[None, :, None])
    # Neighbouring readings share their departures: what each adds to the one before it is independent.
    kept = memory ** np.diff(t)
    design = np.empty((len(onsets), len(taus_s), 1 + len(rows), len(t) - 1))
    design[:, :, 0] = fall[:, :, 1:] - kept * fall[:, :, :-1]
    design[:, :, 1:] = (shared[:, :, 1:] - kept * shared[:, :, :-1])[:, None]
    _, coefficients, news = profile(design.reshape(-1, 1 + len(rows), len(t) - 1), v[1:] - kept * v[:-1])
    of = coefficients.reshape(len(onsets), len(taus_s), -1)
    residual = (v - of[:, :, :1] * fall - of[:, :, 1:] @ shared).reshape(-1, len(t))
    onset_of = np.repeat(onsets, len(taus_s))
    flaming = np.repeat(flaming, len(taus_s), axis=0)
    count = flaming.sum(axis=1)
    rest = len(t) - count
    before, after = _scatters(flaming, residual)
    new_before, new_after = (np.maximum(one, LEAST_NEWS_K2) for one in _scatters(flaming[:, 1:], news))
    # The scatter's floor keeps a chance run of equal codes from looking infinitely calm.
    before, after = np.maximum(before, 2.0), np.maximum(after, 2.0)
    cost = (count * np.log(new_before) + rest * np.log(new_after)) / TOGETHER
    if rate is not None:
        cost += rate.too_soon(onset_of)
    hot, entry = coefficients[:, 1], coefficients[:, 0] + coefficients[:, 4] + coefficients[:, 6]
    end = float(np.median(v[-20:]))
    # A flame that flickers no more is gone, even where its char glows as hot as its last flames were.
    falls = (hot > end + LEAST_DROP_K / 2) | (new_after < STOPS_SHARE**2 * new_before)
    falls &= entry > end - LEAST_DROP_K
    calms = np.sqrt(after) < CALM_SHARE * np.sqrt(before) + CALM_K
    cost[~(falls & calms) | (count < 8) | (rest < 8)] = np.inf
    best = int(np.argmin(cost))
    if not np.isfinite(cost[best]):
        return None
    weight = np.exp(-0.5 * (cost - cost[best]))
    u_s = float(np.sqrt(np.sum(weight * (onset_of - onset_of[best]) ** 2) / np.sum(weight)))
    return Drop(
        float(onset_of[best]), u_s, float(hot[best]), end, float(before[best] ** 0.5), float(after[best] ** 0.5)
    )


def _scatters(flaming: Array, residual: Array) -> tuple[Array, Array]:
    """Return the mean squares of residuals in flame and in afterglow, one pair a split."""
    count = flaming.sum(axis=1)
    square = residual**2
    before = np.einsum("km,km->k", flaming, square)
    return before / np.maximum(count, 1.0), (square.sum(axis=1) - before) / np.maximum(flaming.shape[1] - count, 1.0)
