"""What a person writes down of a burn: exactly, roughly, or not at all."""

import re
from collections.abc import Callable

import numpy as np

from emberline.bench.plan_quantities import QUANTITIES

EXACT_U = 1e-3
"""Relative standard uncertainty that a person states who knows a number exactly."""
_NUMBER = re.compile(r"^(\w+) = (-?[\d.]+(?:e[-+]?\d+)?)$")
_PLACE = ("altitude_m", "ambient_c", "pressure_pa")


def exactly(text: str) -> str:
    """Return a plan whose numbers are exact, and said to be. The place stays as uncertain as a place is."""

    def line(key: str, value: float, written: str) -> list[str]:
        if key in _PLACE or key not in QUANTITIES or value == 0.0:
            return [written]
        return [written, f"u_{key} = {max(EXACT_U * abs(value), 1e-4):.6g}"]

    return _rewritten(text, line)


def roughly(text: str, rng: np.random.Generator) -> str:
    """Return a plan whose numbers are off by as much as a plan without stated uncertainties is taken to be.

    Nobody writes down more water at the end than at the start.
    """
    most_water_g = float("inf")

    def line(key: str, value: float, written: str) -> list[str]:
        nonlocal most_water_g
        if key not in QUANTITIES or value == 0.0:
            return [written]
        quantity = QUANTITIES[key]
        u = quantity.assumed_u(value)
        least, most = max(quantity.low, value - 3.0 * u), min(quantity.high, value + 3.0 * u)
        stated = float(np.clip(value + rng.normal(0.0, u), least, most))
        if key == "final_water_g":
            stated = min(stated, most_water_g)
        elif key == "water_g":
            most_water_g = stated
        return [f"{key} = {stated:.6g}"]

    return _rewritten(text, line)


def _rewritten(text: str, line_of: Callable[[str, float, str], list[str]]) -> str:
    lines: list[str] = []
    for written in text.splitlines():
        match = _NUMBER.match(written)
        lines += [written] if match is None else line_of(match[1], float(match[2]), written)
    return "\n".join(lines) + "\n"
