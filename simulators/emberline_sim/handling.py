"""What hands do to the load: set a pot on, lift it, drop fuel in, poke, lean.

Weights move over a second or two, and the hand pushes and steadies meanwhile.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline_sim.scenario import Scenario
from emberline_sim.trial_specs import HandSpec


@dataclass(frozen=True, slots=True)
class Push:
    """One smooth push of a hand: `force_g` at its middle, from `from_s` on for `for_s`."""

    from_s: float
    for_s: float
    force_g: float

    def at(self, t_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the force at times `t_s`, g."""
        phase = (t_s - self.from_s) / self.for_s
        inside = (phase > 0.0) & (phase < 1.0)
        return np.where(inside, self.force_g * np.sin(np.pi * np.clip(phase, 0.0, 1.0)) ** 2, 0.0)


def pushes_around(
    t_s: float, before_s: float, after_s: float, strength_g: float, rng: np.random.Generator, leaning: float = 0.0
) -> list[Push]:
    """Return the pushes of a hand that works from `t_s - before_s` to `t_s + after_s`.

    Args:
        t_s: Moment of the deed.
        before_s: The hand is there so long before.
        after_s: And so long after.
        strength_g: Standard deviation of a push.
        rng: Source of chance.
        leaning: Mean push relative to `strength_g`: above zero the hand presses, below zero it lifts.

    """
    count = max(1, round((before_s + after_s) / 0.5))
    starts = rng.uniform(t_s - before_s, t_s + after_s, count)
    lengths = rng.uniform(0.25, 0.9, count)
    forces = strength_g * (leaning + rng.normal(0.0, 1.0, count))
    ends = np.minimum(starts + lengths, t_s + after_s)
    return [Push(float(a), max(float(b - a), 0.1), float(f)) for a, b, f in zip(starts, ends, forces, strict=True)]


def ramp(t_s: NDArray[np.float64], end_s: float, over_s: float) -> NDArray[np.float64]:
    """Return the share of a weight that has been moved: 0 until `end_s - over_s`, 1 from `end_s` on, smooth between."""
    phase = np.clip((t_s - end_s) / over_s + 1.0, 0.0, 1.0)
    return np.asarray(phase * phase * (3.0 - 2.0 * phase), dtype=np.float64)


def falling_in(
    t_s: NDArray[np.float64], middle_s: float, over_s: float, pieces: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return the share of a handful of `pieces` that has landed; half of it by `middle_s` or so."""
    landings = np.sort(rng.uniform(middle_s - 0.5 * over_s, middle_s + 0.5 * over_s, max(1, pieces)))
    weights = rng.dirichlet(np.full(len(landings), 6.0))
    landed = np.concatenate(([0.0], np.cumsum(weights)))
    return np.asarray(landed[np.searchsorted(landings, t_s, side="right")], dtype=np.float64)


def hand_weight_g(hand: HandSpec, scenario: Scenario) -> float:
    """Return the lasting change of load of a deed, g."""
    lid_g = scenario.pot.lid_g if scenario.pot is not None else 0.0
    return {
        "lid_on": lid_g,
        "lid_off": -lid_g,
        "tool_on": hand.size_g,
        "tool_off": -hand.size_g,
        "poke": hand.size_g,
    }.get(hand.kind, 0.0)


def hand_force_g(
    t_s: NDArray[np.float64], hand: HandSpec, weight_g: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return the force of one deed on the load, lasting change included, g."""
    if hand.kind == "bump":
        since_s = t_s - hand.t_s
        ringing = np.exp(-since_s.clip(0.0) / 0.5) * np.sin(2.0 * np.pi * 3.1 * since_s)
        return np.where(since_s >= 0.0, 40.0 * float(rng.normal(1.0, 0.3)) * ringing, 0.0)
    if hand.kind == "lean":
        on, off = ramp(t_s, hand.t_s, 0.4), ramp(t_s, hand.t_s + hand.for_s, 0.4)
        return hand.size_g * (on - off)
    lasting = weight_g * ramp(t_s, hand.t_s + hand.for_s if hand.kind == "poke" else hand.t_s, 0.5)
    pushes = (
        pushes_around(hand.t_s + 0.5 * hand.for_s, 0.5 * hand.for_s, 0.5 * hand.for_s, 180.0, rng, leaning=0.7)
        if hand.kind == "poke"
        else pushes_around(hand.t_s, 1.0, 1.2, 35.0, rng, leaning=0.5)
    )
    for push in pushes:
        lasting = lasting + push.at(t_s)
    return lasting
