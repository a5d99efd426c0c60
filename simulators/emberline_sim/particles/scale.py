"""The load cell: weights, hands, hot air, wind, and what cell and converter make of them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from emberline_sim.particles.history import STEP_S, Done, History
from emberline_sim.particles.noise import coloured
from emberline_sim.particles.senses import Sampling, Spoilt, in_stretch

CREEP_QUICK_S, CREEP_SLOW_S = 50.0, 1100.0
AIR_G_L = 1.2
FULL_CODE_G = 2**23 / 419.0
"""What the largest code of a 24-bit converter says in grams, at the 419 codes per gram of a 5 kg cell."""


@dataclass(frozen=True, slots=True)
class ScaleSense:
    """A load cell with its bridge converter.

    Attributes:
        sampling: When and how finely it samples.
        noise_g: White noise of a reading.
        pink_g: Slow noise, pink.
        span: Relative error.
        off_centre: Further relative error for the pot's weight.
        creep: Relative creep after a change of load: the quick part, the slow part.
        drift_g_k: Shift of the zero per kelvin.
        warms_k: Warming of the cell by a stove that burns for an hour.
        hot_litres: Hot gas in the stove and above it: it lifts.
        wind_g: Force at 1 m/s; it goes with the square.
        strikes_h: Absurd readings per hour.
        full_g: Load at which the converter saturates.
        zero_g: Reading of the empty cell; None: it was tared with the stove on it.
        spoilt: Broken stretches.

    """

    sampling: Sampling
    noise_g: float
    pink_g: float
    span: float
    off_centre: float
    creep: tuple[float, float]
    drift_g_k: float
    warms_k: float
    hot_litres: float
    wind_g: float
    strikes_h: float
    full_g: float
    zero_g: float | None
    spoilt: tuple[Spoilt, ...] = ()


def comes_to_rest(t_s: NDArray[np.float64], end_s: float, over_s: float, pause: float) -> NDArray[np.float64]:
    """Return the share of a weight that rests on the load: touched down in two goes, with a pause between them.

    It is 1 from `end_s` on and 0 until `end_s - over_s`; `pause` is the share at which it hesitates.
    """
    phase = np.clip((t_s - end_s) / over_s + 1.0, 0.0, 1.0)
    return np.asarray(np.interp(phase, (0.0, 0.3, 0.65, 1.0), (0.0, pause, pause, 1.0)))


def jolts(
    t_s: NDArray[np.float64], from_s: float, to_s: float, per_s: float, size_g: float, lean_g: float,
    rng: np.random.Generator,
) -> NDArray[np.float64]:  # fmt: skip
    """Return (n,) the forces of a hand at work: jolts at random times that die away, of either sign around `lean_g`."""
    force = np.zeros(len(t_s))
    for start_s in rng.uniform(from_s, to_s, int(rng.poisson(per_s * (to_s - from_s)))):
        low, high = np.searchsorted(t_s, (start_s, start_s + 3.0))
        since = t_s[low:high] - start_s
        force[low:high] += rng.normal(lean_g, size_g) * np.exp(-since / rng.uniform(0.12, 0.5))
    return force


def rings(t_s: NDArray[np.float64], at_s: float, size_g: float, hz: float, dies_s: float) -> NDArray[np.float64]:
    """Return (n,) the ringing of stove and cell after a blow."""
    force = np.zeros(len(t_s))
    low, high = np.searchsorted(t_s, (at_s, at_s + 10.0 * dies_s))
    since = t_s[low:high] - at_s
    force[low:high] = size_g * np.exp(-since / dies_s) * np.cos(2.0 * np.pi * hz * since)
    return force


def pot_load_g(
    t_s: NDArray[np.float64], history: History, tare_g: float, lid_g: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n,) what the pot weighs on its stand, with its hands; `t_s` counts from the beginning of the burn."""
    column = history.column
    load = np.zeros(len(t_s))
    own = tare_g + np.interp(t_s, history.t_s, column["water_g"] + lid_g * column["lid"])
    for index, stay in enumerate(history.stays):
        begin = next(one for one in history.done if one.deed.kind == "pot_on" and one.t_s == stay.on_s)
        rough, over_s = begin.deed.rough, begin.deed.lasts_s
        share = comes_to_rest(t_s, stay.on_s, over_s, float(rng.uniform(0.1, 0.8)))
        if stay.on_s <= STEP_S:
            share = np.ones(len(t_s))
        else:
            load += jolts(t_s, stay.on_s - over_s, stay.on_s + rng.uniform(0.5, 4.0), 2.5, 60.0 * rough, 25.0, rng)
            load += rings(t_s, stay.on_s, 180.0 * rough * float(rng.normal()), float(rng.uniform(2.0, 6.0)), 0.25)
        if stay.off_s is not None:
            over_s = float(rng.uniform(0.4, 1.6))
            share = share - comes_to_rest(t_s, stay.off_s, over_s, float(rng.uniform(0.2, 0.8)))
            load += jolts(t_s, stay.off_s - over_s - rng.uniform(0.2, 3.0), stay.off_s, 2.5, 60.0 * rough, -15.0, rng)
            load += jolts(t_s, stay.off_s, stay.off_s + 1.0, 1.0, 15.0, 0.0, rng)
        following = history.stays[index + 1].on_s - 5.0 if index + 1 < len(history.stays) else np.inf
        # Just before the pot stands, its weight is that of the moment when it does.
        weight = np.interp(np.clip(t_s, stay.on_s + STEP_S, following), t_s, own) if len(t_s) else own
        load += share * weight
    return load


def fuel_load_g(t_s: NDArray[np.float64], history: History, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return (n,) the weight of fuel and starter, with every portion of a refuel falling in."""
    smooth = history.column["fuel_g"] + history.column["starter_g"]
    load = np.zeros(len(t_s))
    for at_s, mass_g, _ in history.fuel_in[1:]:
        smooth = smooth - np.where(history.t_s > at_s, mass_g, 0.0)
        landed_s = at_s + float(rng.uniform(0.0, 0.4))
        load += mass_g * comes_to_rest(t_s, landed_s, float(rng.uniform(0.1, 0.9)), float(rng.uniform(0.2, 0.8)))
        load += rings(t_s, landed_s, mass_g * float(rng.uniform(0.3, 1.2)), float(rng.uniform(3.0, 8.0)), 0.15)
        load += jolts(t_s, at_s - 1.5, at_s + 1.0, 0.8, 6.0, 3.0, rng)
    return load + np.interp(t_s, history.t_s, smooth)


def hand_force_g(t_s: NDArray[np.float64], done: Done, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return (n,) the passing forces of one deed that is neither pot nor fuel."""
    at_s, deed = done.t_s, done.deed
    match deed.kind:
        case "light" | "relight":
            return jolts(t_s, at_s - 2.0, at_s + 4.0, 0.7, 2.0, 0.0, rng)
        case "poke":
            return jolts(t_s, at_s, at_s + deed.lasts_s, 3.0, 120.0 * deed.rough, 80.0 * deed.rough, rng)
        case "bump":
            return rings(
                t_s, at_s, 60.0 * deed.rough * float(rng.choice((-1.0, 1.0))), float(rng.uniform(2.0, 5.0)), 0.6
            )
        case "tug":
            # A lead is caught under something, then comes free: a slow pull that ends in a jerk.
            pull = np.clip((t_s - at_s) / 3.0, 0.0, 1.0) * (t_s < at_s + deed.lasts_s)
            return deed.amount_g * pull * (1.0 + 0.1 * np.sin(0.7 * (t_s - at_s)))
        case "lid_on" | "lid_off":
            return jolts(t_s, at_s - 1.2, at_s + 1.2, 2.0, 25.0, 10.0, rng)
        case "smother" | "snuff":
            return jolts(t_s, at_s - 1.0, at_s + 3.0, 1.5, 20.0, 10.0, rng)
        case _:
            return np.zeros(len(t_s))


def air_force_g(
    t_s: NDArray[np.float64], history: History, sense: ScaleSense, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n,) the lift of hot gas (lighter than air by its temperature) and the push of the wind, either way."""
    column, n = history.column, len(history.t_s)
    air_k = column["air_c"] + 273.15
    lift = sense.hot_litres * AIR_G_L * (1.0 - air_k / (0.75 * (column["hot_c"] + 273.15) + 0.25 * air_k))
    push = sense.wind_g * column["wind_m_s"] ** 2 * (0.35 + coloured(n, STEP_S, 1.2, 60.0, rng))
    return np.asarray(np.interp(t_s, history.t_s, push - lift), dtype=np.float64)


def read_scale(
    t_s: NDArray[np.float64], begins_s: float, load_g: NDArray[np.float64], pot_g: NDArray[np.float64],
    heat_s: NDArray[np.float64], stove_g: float, sense: ScaleSense, rng: np.random.Generator,
) -> NDArray[np.float64]:  # fmt: skip
    """Return (n,) readings, g; NaN where the converter reports nothing.

    Args:
        t_s: (n,) seconds from the beginning of the burn.
        begins_s: Beginning of the record on that clock.
        load_g: (n,) load, pot included.
        pot_g: (n,) the pot's part of it.
        heat_s: (n,) warming of the cell, 1 after an hour of burning.
        stove_g: Mass of the stove, which was on when the cell was tared if `zero_g` is None.
        sense: Cell and converter.
        rng: Source of chance.

    """
    n = len(t_s)
    if n < 4:
        return np.round(load_g / sense.sampling.step) * sense.sampling.step
    spacing_s = float(np.median(np.diff(t_s)))
    pressed = load_g + sense.off_centre * pot_g
    crept = np.zeros(n)
    for share, memory_s in zip(sense.creep, (CREEP_QUICK_S, CREEP_SLOW_S), strict=True):
        keep = float(np.exp(-spacing_s / memory_s))
        follows, _ = lfilter([1.0 - keep], [1.0, -keep], pressed, zi=[keep * pressed[0]])
        crept += share * (np.asarray(follows) - pressed)
    zero_g = -stove_g if sense.zero_g is None else sense.zero_g
    read = pressed * (1.0 + sense.span) + crept + sense.drift_g_k * sense.warms_k * heat_s + zero_g
    read = read + rng.normal(0.0, sense.noise_g, n) + sense.pink_g * coloured(n, spacing_s, 1.0, 900.0, rng)
    step = sense.sampling.step
    shown = np.round(read / step) * step
    shown[pressed > sense.full_g] = round(FULL_CODE_G / step) * step
    strikes = rng.integers(0, n, int(rng.poisson(sense.strikes_h * (t_s[-1] - t_s[0]) / 3600.0)))
    for index in strikes:
        wild = rng.random()
        if wild < 0.25:
            shown[index] = np.nan
        elif wild < 0.6:
            shown[index] = float(rng.choice((-1.0, 1.0))) * FULL_CODE_G
        else:
            shown[index] += float(rng.choice((-1.0, 1.0)) * 10.0 ** rng.uniform(0.5, 3.7))
    record_s = t_s - begins_s
    for one in sense.spoilt:
        inside = in_stretch(record_s, one)
        if one.kind == "open":
            shown[inside] = np.nan
        elif one.kind == "stuck" and inside.any():
            shown[inside] = shown[max(0, int(np.argmax(inside)) - 1)]
    return shown
