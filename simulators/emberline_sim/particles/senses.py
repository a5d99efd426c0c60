"""The thermocouples, and when converters sample."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from emberline_sim.particles.history import STEP_S, History
from emberline_sim.particles.noise import coloured

Rhythm = Literal["clock", "loop"]
STEFAN_BOLTZMANN = 5.670374419e-8
METAL_J_M3K = 4.0e6
EMISSIVITY = 0.75
FINE_S = 0.25


@dataclass(frozen=True, slots=True)
class Spoilt:
    """A stretch in which a sensor is broken.

    Attributes:
        kind: `open` (no reading), `short` (near the converter's own temperature), `stuck` (repeats itself), `wild`
            (single absurd readings of up to thousands), `out` (the probe hangs in the air).
        from_s: Start, seconds of the record.
        to_s: End.

    """

    kind: Literal["open", "short", "stuck", "wild", "out"]
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Sampling:
    """How a channel is sampled.

    Attributes:
        hz: Nominal rate.
        rhythm: `clock`: a converter's own oscillator; `loop`: a program that comes round when it can.
        step: Resolution of the value.
        gaps: Stretches without readings, seconds of the record.

    """

    hz: float
    rhythm: Rhythm
    step: float
    gaps: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class WaterSense:
    """The probe in the water.

    Attributes:
        sampling: When and how finely.
        lag_s: Time constant in water.
        air_lag_s: Time constant in air.
        height: Of the tip: 0 at the base, 1 at the surface.
        stem: Share of the excess over the air that the stem conducts away.
        bias_c: Constant error.
        gain: Relative error.
        junction_c: Error of the cold junction when all is warm.
        noise_c: Standard deviation of a reading.
        stays: Whether the probe goes with a lifted pot.
        spoilt: Broken stretches, seconds of the record.

    """

    sampling: Sampling
    lag_s: float
    air_lag_s: float
    height: float
    stem: float
    bias_c: float
    gain: float
    junction_c: float
    noise_c: float
    stays: bool
    spoilt: tuple[Spoilt, ...] = ()


@dataclass(frozen=True, slots=True)
class FlameSense:
    """The probe in the flame: a bead that answers quickly, in a sheath that follows slowly.

    Attributes:
        sampling: When and how finely.
        bead_m: Diameter, which sets the quick time constant and the loss by radiation.
        slow_s: Time constant of the sheath.
        slow_share: Share of the sheath in the reading.
        reach: Share of the gas's excess temperature that is found at the tip.
        char_view: Share of the glowing bed in what the tip sees.
        flicker: Relative standard deviation of the flame's excess temperature.
        noise_c: Standard deviation of a reading.
        gain: Relative error.
        spoilt: Broken stretches.

    """

    sampling: Sampling
    bead_m: float
    slow_s: float
    slow_share: float
    reach: float
    char_view: float
    flicker: float
    noise_c: float
    gain: float
    spoilt: tuple[Spoilt, ...] = ()


def sample_times_s(duration_s: float, sampling: Sampling, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return (n,) increasing times of the samples, from 0 on."""
    period_s = (1.0 + 0.008 * float(rng.normal())) / sampling.hz
    n = int(duration_s / period_s * 1.02) + 2
    if sampling.rhythm == "clock":
        t_s = (np.arange(n) + np.clip(rng.normal(0.0, 0.02, n), -0.2, 0.2)) * period_s
    else:
        rounds = period_s * (0.75 + rng.gamma(1.5, 0.25 / 1.5, n))
        # Now and then the program writes a file, or the display, and comes late.
        late = rng.random(n) < 0.004
        t_s = np.cumsum(rounds + late * rng.exponential(1.2, n))
    t_s = t_s - t_s[0]
    keep = t_s <= duration_s
    for from_s, to_s in sampling.gaps:
        keep &= (t_s < from_s) | (t_s >= to_s)
    return np.asarray(t_s[keep], dtype=np.float64)


def in_stretch(t_s: NDArray[np.float64], spoilt: Spoilt) -> NDArray[np.bool_]:
    """Return (n,) whether a time lies in a stretch."""
    return (t_s >= spoilt.from_s) & (t_s < spoilt.to_s)


def converted(
    t_s: NDArray[np.float64], value: NDArray[np.float64], own_c: NDArray[np.float64], sampling: Sampling,
    spoilt: tuple[Spoilt, ...], rng: np.random.Generator,
) -> NDArray[np.float64]:  # fmt: skip
    """Return (n,) what a converter of a thermocouple sends: its steps and its faults."""
    shown = np.round(value / sampling.step) * sampling.step
    for one in spoilt:
        inside = in_stretch(t_s, one)
        match one.kind:
            case "open":
                shown[inside] = np.nan
            case "short":
                shown[inside] = np.round(own_c[inside] / sampling.step) * sampling.step
            case "stuck":
                first = int(np.argmax(inside)) if inside.any() else 0
                shown[inside] = shown[max(0, first - 1)]
            case "wild":
                struck = np.flatnonzero(inside & (rng.random(len(t_s)) < 0.02))
                shown[struck] = rng.choice((-250.0, 0.0, 1372.0, 2047.75, 4095.9), len(struck))
            case "out":
                pass
    return shown


def read_water(
    t_s: NDArray[np.float64], history: History, begins_s: float, sense: WaterSense, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n,) readings of the water probe at seconds `t_s` of the record, °C."""
    column, n = history.column, len(history.t_s)
    height = sense.height
    lower = column["bottom_c"] + (column["bulk_c"] - column["bottom_c"]) * min(1.0, 2.0 * height)
    around = lower + (column["top_c"] - column["bulk_c"]) * max(0.0, 2.0 * height - 1.0)
    # A tip close to the base feels the film on it.
    around = around + 0.08 * max(0.0, 0.15 - height) / 0.15 * (column["pot_wall_c"] - column["bottom_c"])
    on = column["on_stove"] > 0.5
    simmering = column["bubbling"] * (1.0 - column["steam_share"])
    unrest = 0.03 + 0.35 * simmering + 0.10 * column["steam_share"]
    around = around + on * unrest * coloured(n, STEP_S, 1.0, 8.0, rng)
    wet = column["in_pot"] > 0.5
    if not sense.stays:
        wet &= on
    plume = (
        0.02 * np.maximum(0.0, column["hot_c"] - column["air_c"]) * (1.0 + 0.4 * coloured(n, STEP_S, 1.3, 20.0, rng))
    )
    record_s = history.t_s - begins_s
    for one in sense.spoilt:
        if one.kind == "out":
            wet &= ~in_stretch(record_s, one)
    target = np.where(wet, around - sense.stem * (around - column["air_c"]), column["air_c"] + plume)
    fine_s = np.arange(0.0, history.t_s[-1] + FINE_S, FINE_S)
    goal = np.interp(fine_s, history.t_s, target)
    follows = np.exp(
        -FINE_S / np.where(np.interp(fine_s, history.t_s, wet.astype(float)) > 0.5, sense.lag_s, sense.air_lag_s)
    )
    shown, value = np.empty_like(goal), float(goal[0])
    for i, (to_c, keep) in enumerate(zip(goal.tolist(), follows.tolist(), strict=True)):
        value = to_c + (value - to_c) * keep
        shown[i] = value
    at_s = t_s + begins_s
    air = np.interp(at_s, history.t_s, column["air_c"])
    lit_s = history.lit_s or 0.0
    junction = sense.junction_c * -np.expm1(-np.clip(at_s - lit_s, 0.0, None) / 1100.0)
    read = np.interp(at_s, fine_s, shown)
    read = read + sense.gain * (read - air) + sense.bias_c + junction + rng.normal(0.0, sense.noise_c, len(t_s))
    return converted(t_s, read, air + 4.0 + junction, sense.sampling, sense.spoilt, rng)


def bead_transfer_w_m2k(bead_m: float) -> float:
    """Return the heat transfer of a bead in flame gas at 2 m/s (Ranz and Marshall; Nu = 2 + 0.6 Re^1/2 Pr^1/3)."""
    return 0.06 / bead_m * (2.0 + 0.6 * math.sqrt(2.0 * bead_m / 1.2e-4) * 0.89)


def read_flame(
    t_s: NDArray[np.float64], history: History, begins_s: float, sense: FlameSense, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n,) readings of the flame probe at seconds `t_s` of the record, °C."""
    column, n = history.column, len(history.t_s)
    excess = column["hot_c"] - column["air_c"]
    flame = column["flame"] > 0.5
    strength = np.clip(column["flame_w"] / 1500.0, 0.0, 2.0)
    # A tall flame stands around the tip all the time; a low one licks at it.
    licks = coloured(n, STEP_S, 1.0, 15.0, rng) < 1.2 * strength + 0.4
    sway = np.clip(1.0 + sense.flicker * coloured(n, STEP_S, 1.2, 25.0, rng), 0.3, 1.7)
    lean = np.exp(-0.10 * column["wind_m_s"] ** 2 * np.abs(coloured(n, STEP_S, 1.3, 30.0, rng)))
    hot = np.where(flame, np.where(licks, 1.0, 0.45) * sway * lean, 1.0 + 0.03 * coloured(n, STEP_S, 1.2, 25.0, rng))
    gas_k = column["air_c"] + 273.15 + sense.reach * excess * hot
    fine_s = np.arange(0.0, history.t_s[-1] + FINE_S, FINE_S)
    goal = np.interp(fine_s, history.t_s, np.minimum(gas_k, 1650.0))
    seen = sense.char_view * column["char_k"] ** 4 + (1.0 - sense.char_view) * (column["wall_c"] + 273.15) ** 4
    sees = np.interp(fine_s, history.t_s, seen)
    gain_1_s = bead_transfer_w_m2k(sense.bead_m) * 6.0 / (METAL_J_M3K * sense.bead_m)
    radiates = EMISSIVITY * STEFAN_BOLTZMANN * 6.0 / (METAL_J_M3K * sense.bead_m)
    bead = sheath = float(goal[0])
    follows = 1.0 - math.exp(-FINE_S / sense.slow_s)
    shown = np.empty_like(goal)
    for i, (to_k, k4) in enumerate(zip(goal.tolist(), sees.tolist(), strict=True)):
        # Implicit in the bead's own temperature, so that a thin bead in a hot flame stays stable.
        slope = gain_1_s + 4.0 * radiates * bead**3
        bead += (gain_1_s * (to_k - bead) + radiates * (k4 - bead**4)) * FINE_S / (1.0 + slope * FINE_S)
        sheath += (bead - sheath) * follows
        shown[i] = (1.0 - sense.slow_share) * bead + sense.slow_share * sheath - 273.15
    at_s = t_s + begins_s
    air = np.interp(at_s, history.t_s, column["air_c"])
    read = np.interp(at_s, fine_s, shown)
    read = read + sense.gain * (read - air) + rng.normal(0.0, sense.noise_c, len(t_s))
    return converted(t_s, read, air + 8.0, sense.sampling, sense.spoilt, rng)
