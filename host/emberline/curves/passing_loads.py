"""Loads that come and go again whole: a tool, a hand, a lead that tugs."""

from collections.abc import Sequence

import numpy as np

from emberline.bench.plan import Plan
from emberline.curves.mass_steps import MIN_STEP_G, MassStep
from emberline.curves.pot_loads import least_filled_g, least_pot_g

TUG_S = 120.0
"""Seconds within which what was lifted and comes back to the gram was no fuel, but a lead or a hand that pulled."""


def laid_on_and_taken(steps: Sequence[MassStep], plan: Plan) -> dict[int, str]:
    """Return the indices, and the fate, of loads taken off again whole, or taken off and soon laid back.

    A tool, a hand, a lead that tugs, a lid. Fuel burns and cannot be lifted back out; a load that returns to the gram
    was never fuel. Pots are heavier, and one that is set down has water in it.
    """
    least_on_g, least_off_g = least_filled_g(plan.pot), least_pot_g(plan.pot)
    planned = [float(refuel.mass_g.nominal_value) for refuel in plan.refuels if refuel.mass_g is not None]
    found: dict[int, str] = {}
    for i, on in enumerate(steps):
        size = on.size_g.nominal_value
        weight = abs(size)
        may_be_pot = weight >= (least_on_g if size > 0 else least_off_g)
        if weight < MIN_STEP_G or may_be_pot or any(abs(weight - mass) < 6.0 for mass in planned):
            continue
        for j in range(i + 1, len(steps)):
            off = steps[j].size_g
            allowed = 3.0 * float(np.hypot(on.size_g.std_dev, off.std_dev)) + 0.01 * weight + 0.3
            if size < 0 and steps[j].start_s - on.end_s > TUG_S:
                break
            if i in found or j in found or off.nominal_value * size > 0.0 or not steps[j].sized:
                continue
            if abs(off.nominal_value + size) < allowed:
                found[i] = "that was taken off later" if size > 0 else "taken off and laid back soon"
                found[j] = "that had been laid on, taken off" if size > 0 else "that had been taken off, laid back"
                break
    return found
