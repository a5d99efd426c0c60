"""Loads that come and go again whole: a tool, a hand, a lead that tugs."""

from collections.abc import Sequence

import numpy as np

from emberline.bench.plan import Plan
from emberline.curves.mass_steps import MIN_STEP_G, MassStep
from emberline.curves.pot_loads import least_filled_g, least_pot_g

ALIKE_G = 6.0
"""Within this a load is that of a refuel whose weight was entered."""


def laid_on_and_taken(steps: Sequence[MassStep], plan: Plan) -> dict[int, str]:
    """Return the indices, and the fate, of loads taken off again whole, or taken off and laid back.

    A tool, a hand, a lead that tugs, a lid. Fuel burns and cannot be lifted back out; a load that returns to the gram
    was never fuel, or stands in for the piece that fell out. Pots are heavier, and one that is set down has water in
    it. It is the next addition that tells: a later handful may weigh as much by chance.
    """
    least_on_g, least_off_g = least_filled_g(plan.pot), least_pot_g(plan.pot)
    planned = _planned(steps, plan)
    found: dict[int, str] = {}
    for i, on in enumerate(steps):
        size = on.size_g.nominal_value
        weight = abs(size)
        may_be_pot = weight >= (least_on_g if size > 0 else least_off_g)
        if weight < MIN_STEP_G or may_be_pot or i in planned:
            continue
        for j in range(i + 1, len(steps)):
            off = steps[j].size_g
            allowed = 3.0 * float(np.hypot(on.size_g.std_dev, off.std_dev)) + 0.01 * weight + 0.3
            if i in found or j in found or off.nominal_value * size > 0.0 or not steps[j].sized:
                continue
            apart_g = abs(off.nominal_value + size)
            if j in planned and abs(off.nominal_value - planned[j]) < apart_g + 1.0:
                break  # the plan weighed it
            if apart_g < allowed:
                found[i] = "that was taken off later" if size > 0 else "taken off and laid back"
                found[j] = "that had been laid on, taken off" if size > 0 else "that had been taken off, laid back"
                break
            if size < 0 and off.nominal_value >= MIN_STEP_G:
                break
    return found


def _planned(steps: Sequence[MassStep], plan: Plan) -> dict[int, float]:
    """Return the indices of the loads that are most like refuels whose weights a person entered, and those weights."""
    found: dict[int, float] = {}
    for refuel in plan.refuels:
        if refuel.mass_g is None:
            continue
        mass_g = float(refuel.mass_g.nominal_value)
        off_g = [abs(step.size_g.nominal_value - mass_g) for step in steps]
        alike = [i for i in range(len(steps)) if i not in found and off_g[i] < ALIKE_G]
        if alike:
            found[min(alike, key=lambda i: off_g[i])] = mass_g
    return found
