"""The type K probe in the water and its converter: where it hangs, its lag, its errors, its faults."""

import numpy as np
from numpy.typing import NDArray

from emberline_sim.air import wandering
from emberline_sim.course import STEP_S, Course
from emberline_sim.specs import FaultSpec, ProbeSpec

CONVERTER_STEP_C = {"coarse": 0.25, "fine": 1.0 / 128.0}
JUNCTION_WARMING_S = 900.0
FINE_S = 0.25
BASE_SEEN = 0.1
"""Share of the base's excess that a probe close above it reads."""
RIPPLE_C = 0.12
SUBCOOLED_C = 0.18


def stirred_c(
    course: Course, spec: ProbeSpec, rng: np.random.Generator
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return (n,) the temperature around the tip at the course's steps, and whether the tip is in water."""
    column, n = course.column, len(course.t_s)
    around = {
        "middle": column["bulk_c"],
        "base": column["lower_c"] + BASE_SEEN * (column["metal_c"] - column["lower_c"]),
        "surface": column["upper_c"] - 0.012 * (column["upper_c"] - column["ambient_c"]),
        "wall": 0.5 * (column["metal_c"] + column["upper_c"]),
    }[spec.spot].copy()
    on = column["on_stove"] > 0.5
    boiling = column["boiling"] > 0.5
    subcooled = on & ~boiling & (column["lower_c"] > course.boiling_c - 15.0)
    swirl = wandering(n, STEP_S, 1.2, rng)
    unrest = np.where(boiling, RIPPLE_C, np.where(subcooled, SUBCOOLED_C, 0.03)) * (
        2.5 if spec.spot == "surface" else 1.0
    )
    around += np.where(on, unrest * swirl, 0.0)
    inside = np.full(n, fill_value=bool(course.visits))
    if not spec.stays_in_pot:
        inside &= on
    plume = (8.0 + 3.0 * wandering(n, STEP_S, 3.0, rng)) * column["draught"]
    return np.where(inside, around, column["ambient_c"] + plume), inside


def lagged_c(around_c: NDArray[np.float64], lag_s: NDArray[np.float64], step_s: float) -> NDArray[np.float64]:
    """Return (n,) what a first-order probe shows at steps of `step_s`; `lag_s` may change on the way.

    Exact for surroundings that are constant over a step.
    """
    keep = np.exp(-step_s / lag_s)
    shown = np.empty_like(around_c)
    value = float(around_c[0])
    for i, (target, k) in enumerate(zip(around_c.tolist(), keep.tolist(), strict=True)):
        value = target + (value - target) * k
        shown[i] = value
    return shown


def within(t_s: NDArray[np.float64], fault: FaultSpec) -> NDArray[np.bool_]:
    """Return (n,) whether a fault is present."""
    return (t_s >= fault.from_s) & (t_s < (np.inf if fault.to_s is None else fault.to_s))


def read_water(
    t_s: NDArray[np.float64], course: Course, spec: ProbeSpec, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n,) readings of the water probe in °C, NaN where the converter reports an open lead."""
    around, inside = stirred_c(course, spec, rng)
    outside_c = course.column["ambient_c"] + 14.0 * course.column["draught"] * (
        1.0 + 0.3 * wandering(len(course.t_s), STEP_S, 4.0, rng)
    )
    for fault in spec.faults:
        if fault.kind == "out":
            fallen = within(course.t_s, fault)
            around, inside = np.where(fallen, outside_c, around), inside & ~fallen
    fine_s = np.arange(0.0, course.t_s[-1] + FINE_S, FINE_S)
    fine_c = np.interp(fine_s, course.t_s, around)
    wet = np.interp(fine_s, course.t_s, inside.astype(float)) > 0.5
    shown = np.interp(t_s, fine_s, lagged_c(fine_c, np.where(wet, spec.lag_s, spec.air_lag_s), FINE_S))
    ambient = np.interp(t_s, course.t_s, course.column["ambient_c"])
    start_s = course.lit_s if course.lit_s is not None else 0.0
    junction = spec.cold_junction_c * (1.0 - np.exp(-np.clip(t_s - start_s, 0.0, None) / JUNCTION_WARMING_S))
    reading = shown + spec.gain * (shown - ambient) + spec.bias_c + junction
    return converted(t_s, reading, ambient + junction, spec.noise_c, CONVERTER_STEP_C[spec.converter], spec.faults, rng)


def converted(
    t_s: NDArray[np.float64],
    value_c: NDArray[np.float64],
    junction_c: NDArray[np.float64],
    noise_c: float,
    step_c: float,
    faults: tuple[FaultSpec, ...],
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Return (n,) what the converter sends: noise, its steps, a short (its own temperature), an open lead (NaN)."""
    value = value_c.copy()
    for fault in faults:
        if fault.kind == "short":
            value = np.where(within(t_s, fault), junction_c, value)
    value = np.round((value + rng.normal(0.0, noise_c, len(t_s))) / step_c) * step_c
    for fault in faults:
        if fault.kind == "open":
            value = np.where(within(t_s, fault), np.nan, value)
    return value
