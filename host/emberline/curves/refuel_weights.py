"""Steps of the load as a person's weights of the refuels have them.

A refuel weighs what the person weighed: so what was put in and what the curve is levelled by are the same, and what is
left of the fuel does not hang on either. Fuel may have gone in by the handling that lifted the pot, set it down or took
its lid off; on the load cell that is one change, whose two parts the weight tells apart.
"""

from dataclasses import replace

from uncertainties import UFloat, ufloat

from emberline.bench.plan import Plan
from emberline.curves.loads import Loads
from emberline.curves.mass_steps import MassStep
from emberline.curves.pot_loads import MATCH_SHARE
from emberline.curves.weighed_refuels import LEAST_HIDDEN_G, paired

LID_MATCH_G = 5.0
"""Distance within which what is left of a load matches the plan's lid."""


def by_weights(loads: Loads, plan: Plan) -> tuple[MassStep, ...]:
    """Return all steps: weighed refuels with their weights, those that hid in another handling as steps of their own.

    A refuel of which only a part was seen hid beside it. One of which nothing was seen hid in the only handling of the
    pot between the refuels before and after it.

    Args:
        loads: The steps, told apart.
        plan: What a person weighed.
    """
    weighed = [refuel.mass_g for refuel in plan.refuels if refuel.mass_g is not None]
    if not weighed or len(weighed) < len(plan.refuels):
        return loads.steps
    pots = [step for stay in loads.stays for step in (stay.on, stay.off) if step is not None and step.sized]
    lid_g = None if plan.pot is None or plan.pot.lid_g is None else float(plan.pot.lid_g.nominal_value)
    lids = []
    if lid_g is not None:
        lids = [step for step in loads.steps if LEAST_HIDDEN_G - lid_g < step.size_g.nominal_value < 0.0]
    pairs = paired(loads.refuels, weighed, (*pots, *lids))
    hidden: list[tuple[MassStep, UFloat]] = []
    sizes: dict[int, UFloat] = {}
    for pair in pairs:
        if pair.weighed is not None and pair.host is None:
            found_g = sum(float(step.size_g.nominal_value) for step in pair.loads)
            mass_g = weighed[pair.weighed]
            sizes |= {step.start_s: mass_g * float(step.size_g.nominal_value) / found_g for step in pair.loads}
        if pair.host is None or pair.rest_g is None:
            continue
        left_g = abs(float((pair.host.size_g - pair.rest_g).nominal_value))
        if pair.host in pots or (lid_g and abs(left_g - lid_g) <= max(LID_MATCH_G, MATCH_SHARE * lid_g)):
            hidden.append((pair.host, pair.rest_g))
    seen = {pair.weighed: pair.loads for pair in pairs if pair.weighed is not None}
    for index, mass_g in enumerate(weighed):
        before, after = seen.get(index - 1), seen.get(index + 1)
        if index in seen or before is None or after is None:
            continue
        between = [step for step in pots if before[-1].end_s <= step.start_s and step.end_s <= after[0].start_s]
        if len(between) == 1:
            hidden.append((between[0], mass_g))
    steps: list[MassStep] = []
    for step in loads.steps:
        parts = [fuel_g for host, fuel_g in hidden if host is step]
        if step in loads.refuels and step.start_s in sizes:
            steps.append(replace(step, size_g=sizes[step.start_s]))
        else:
            steps += [step] if len(parts) != 1 else _split(step, parts[0])
    return tuple(steps)


def _split(host: MassStep, fuel_g: UFloat) -> list[MassStep]:
    """Return a handling without the fuel that hid in it, and the fuel: while the pot is not there."""
    middle_s, within_s = 0.5 * (host.start_s + host.end_s), host.end_s - host.start_s
    fuel = replace(
        host,
        size_g=fuel_g,
        excursion_g=float(fuel_g.nominal_value),
        moved_s=ufloat(middle_s, max(within_s / 12.0**0.5, 1.0), "mass_step_time"),
    )
    pot = replace(host, size_g=host.size_g - fuel_g)
    return [fuel, pot] if host.size_g.nominal_value > 0.0 else [pot, fuel]
