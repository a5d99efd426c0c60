"""Plain methods that anyone would try first, for comparison: thresholds, and a general change-point package.

The package is `ruptures` (Truong, Oudre and Vayatis, Signal Processing 167, 107299, 2020): binary segmentation with a
piecewise linear model for the water, and with a piecewise constant mean for burning rate and flame.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import ruptures
from numpy.typing import NDArray

from benchmarks.accuracy.scoring import Found
from emberline.bench.channels import Role
from emberline.curves.grid import Grid

Array = NDArray[np.float64]

NINETY_NINE, NEAR_BOILING = "99 °C", "boiling point - 1 K"
TENTH, CHANGE_POINTS = "10 % of peak rate", "ruptures"
BOIL_METHODS = (NINETY_NINE, NEAR_BOILING, CHANGE_POINTS)
FLAMEOUT_METHODS = (TENTH, CHANGE_POINTS)

HELD_S = 5
RATE_S = 60
BLOCK_S = 10
BREAKS = 6
JUMP_G = 3.0
"""Change from second to second that is no burning."""


def plain_events(grid: Grid, boiling_c: float) -> dict[str, tuple[Found, ...]]:
    """Return what each plain method finds in a record; one that lacks its channel is left out.

    Args:
        grid: The record.
        boiling_c: Local boiling point.
    """
    found: dict[str, tuple[Found, ...]] = {}
    water, mass = _known(grid, Role.WATER), _known(grid, Role.MASS)
    if water is not None:
        found[NINETY_NINE] = _reached(water, 99.0)
        found[NEAR_BOILING] = _reached(water, boiling_c - 1.0)
    if mass is not None:
        found[TENTH] = _as_events("flameout", _tenth_s(_rate_g_s(mass)))
    return found | {CHANGE_POINTS: change_points(grid)}


@dataclass(frozen=True, slots=True)
class Setting:
    """How the package is used.

    Attributes:
        method: Name of its class.
        block_s: Length of the medians that it is given.
    """

    method: str = "Binseg"
    block_s: int = BLOCK_S


USUAL = Setting()


def change_points(grid: Grid, setting: Setting = USUAL) -> tuple[Found, ...]:
    """Return the boil and the flameout that change points of the curves suggest."""
    water, mass, flame = (_known(grid, role) for role in (Role.WATER, Role.MASS, Role.FLAME))
    boil = () if water is None else _as_events("boil", _knee_s(water, setting))
    signals = [] if mass is None else [_rate_g_s(mass)]
    signals += [] if flame is None else [flame]
    return boil + (_as_events("flameout", _last_fall_s(signals, setting)) if signals else ())


def _known(grid: Grid, role: Role) -> Array | None:
    """Return a role's values with gaps bridged and spikes taken out by a median of five seconds."""
    column = grid.get(role)
    if column is None or np.isfinite(column.value).sum() < 60:
        return None
    t = np.arange(grid.n)
    good = np.isfinite(column.value)
    bridged = np.pad(np.interp(t, t[good], column.value[good]), 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(bridged, 5), axis=1))


def _as_events(kind: str, t_s: float | None) -> tuple[Found, ...]:
    return () if t_s is None else (Found(kind, t_s),)


def _reached(water_c: Array, level_c: float) -> tuple[Found, ...]:
    """Return the first moment at which the water has been at least so warm for some seconds."""
    if len(water_c) < HELD_S:
        return ()
    held = np.lib.stride_tricks.sliding_window_view(water_c >= level_c, HELD_S).all(axis=1)
    return (Found("boil", float(np.argmax(held))),) if held.any() else ()


def _rate_g_s(mass_g: Array) -> Array:
    """Return the loss of mass over the last minute, jumps left out."""
    loss = -np.diff(mass_g, prepend=mass_g[:1])
    loss[np.abs(loss) > JUMP_G] = 0.0
    summed = np.convolve(loss, np.ones(RATE_S) / RATE_S, mode="same")
    return np.asarray(summed)


def _tenth_s(rate_g_s: Array) -> float | None:
    """Return when the rate was last above a tenth of its peak."""
    peak = float(rate_g_s.max())
    return float(np.flatnonzero(rate_g_s > 0.1 * peak)[-1]) if peak > 0.0 else None


def _blocks(values: Array, block_s: int) -> Array:
    n = len(values) // block_s
    return np.asarray(np.median(values[: n * block_s].reshape(n, block_s), axis=1))


def _breaks(signal: Array, model: str, method: str) -> list[int]:
    """Return the borders of the segments that the package finds, 0 and the end among them."""
    found = getattr(ruptures, method)(model=model, min_size=3, jump=1).fit(signal).predict(n_bkps=BREAKS)
    return [0, *(int(one) for one in found)]


def _knee_s(water_c: Array, setting: Setting) -> float | None:
    """Return where the slope between two segments falls most, if water that hot can boil."""
    blocks = _blocks(water_c, setting.block_s)
    if len(blocks) < 4 * BREAKS:
        return None
    borders = _breaks(blocks[:, None], "clinear", setting.method)
    slopes = [(blocks[b - 1] - blocks[a]) / max(b - a, 1) for a, b in pairwise(borders)]
    knees = [(slopes[i] - slopes[i + 1], borders[i + 1]) for i in range(len(slopes) - 1)]
    hot = [(fall, at) for fall, at in knees if blocks[at] > 80.0 and fall > 0.0]
    return max(hot)[1] * float(setting.block_s) if hot else None


def _last_fall_s(signals: list[Array], setting: Setting) -> float | None:
    """Return the last large fall of the segments' means, in all signals together."""
    table = np.stack([_blocks(signal, setting.block_s) for signal in signals], axis=1)
    if len(table) < 4 * BREAKS:
        return None
    table = (table - table.mean(axis=0)) / np.maximum(table.std(axis=0), 1e-9)
    borders = _breaks(table, "l2", setting.method)
    level = [float(table[a:b].sum(axis=1).mean()) for a, b in pairwise(borders)]
    falls = [(level[i] - level[i + 1], borders[i + 1]) for i in range(len(level) - 1)]
    large = [at for fall, at in falls if fall > 0.5 * max(f for f, _ in falls) and fall > 0.0]
    return large[-1] * float(setting.block_s) if large else None
