"""What closes the account of a pot's water: its own steps, weights entered afterwards, the fuel's balance.

A pot is seldom lifted with just what it was set down with: lids and tools are laid on it and taken off. What stood on
the pot is told from what stood on the stove by the plan's lid, by what is possible, and by the other accounts of the
same water, the heat's and the fuel's. Where those contradict the pot's steps, the contradiction is in the uncertainty.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import exp

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

from emberline.bench.fuels import DEFAULT_MOISTURE_WET
from emberline.bench.plan import Plan, PotPlan
from emberline.curves.events import Event
from emberline.curves.loads import Stay
from emberline.curves.mass_steps import MassStep
from emberline.curves.pot_loads import MATCH_SHARE
from emberline.heat.cell_check import error_about_zero
from emberline.heat.fuel_in import assumed, put_in_g
from emberline.heat.scale import Scale

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

BY_CHAR = "the char was weighed afterwards, together with the heat balance"
"""How the water is known where a weight of the char closes the fuel's account: what burnt before it was weighed makes
that no better, at times, than the heat balance."""
LEFT_AT_FLAMEOUT = (0.20, 0.07)
"""Dry matter left when the flame ends, over dry fuel, with standard uncertainty, where nobody weighed it: top-lit
stoves leave 0.10 to 0.22 (James, Yuan and Boyette, Energies 9 (2016) 283), slow charring 0.25 to 0.35 (Antal and
Grønli, Ind. Eng. Chem. Res. 42 (2003) 1619, from memory)."""
LEAST_LID_G = 20.0
"""Least load laid on a pot that is asked about: lids and spoons weigh more (common practice, no source)."""
LID_MATCH_G = 5.0
"""Distance within which a load matches the plan's lid."""
LID_CHANCE = 0.98
"""Chance that what weighs as much as the lid was the lid; without that, pot and stove are alike."""
CONTRADICTED = 2.5
"""Standard uncertainties by which the pot's own steps must differ from every other account to be in doubt."""
WITNESS_REL_U = 0.35
"""Least relative standard uncertainty that another account of the water is given here: that of the heat which reaches a
pot of which no ramp was seen."""
_MOST_ASKED = 6
_LEAST_CHANCE = 1e-6


@dataclass(frozen=True, slots=True)
class Closed:
    """What closes an account.

    Attributes:
        total_g: Water lost since the pot was set down.
        until_s: The moment by which it had left.
        known_by: How that is known, in words for a person.
    """

    total_g: UFloat
    until_s: float
    known_by: str


def by_steps(
    scale: Scale, plan: Plan, stay: Stay, index: int, until_s: float, witnesses: Sequence[UFloat]
) -> Closed | None:
    """Close the account by the pot's own steps, None where they do not.

    Args:
        scale: The main load cell.
        plan: What a person knows.
        stay: The stay.
        index: Which of the pot's stays it is.
        until_s: End of the stay.
        witnesses: Other accounts of the same water.
    """
    if stay.off is None or not stay.off.sized:
        return None
    pot = plan.pot
    water_g = pot.visit(index).water_g if pot is not None else None
    if stay.on is not None and stay.on.sized:
        net = scale.load(stay.on.size_g + stay.off.size_g) + _handled(scale, stay.on, stay.off)
        between = [(scale.load(step.size_g), _chance_on_pot(step, pot)) for step in _between(scale, stay)]
        words = "the pot was weighed going on and coming off"
    elif water_g is not None and pot is not None and pot.tare_g is not None:
        net = water_g + pot.tare_g + scale.load(stay.off.size_g)
        between = [] if pot.lid_g is None else [(pot.lid_g, _lidded_at_end(scale, stay, pot))]
        words = "the pot was weighed coming off, its water before"
    else:
        return None
    total = _what_fits(net, between, witnesses, water_g)
    doubt_g = _contradiction_g(total, witnesses)
    if doubt_g > 0.0:
        words += "; but neither heat nor fuel bears that out"
    return Closed(total + error_about_zero(doubt_g, "pot_account_doubtful"), until_s, words)


def by_char_weight(scale: Scale, plan: Plan, until_s: float, flameout: Event | None) -> Closed | None:
    """Close the account of the only stay by the char that was weighed afterwards, None where it was not."""
    fuel = plan.fuel
    total_g = put_in_g(scale, plan)
    if fuel.char_left_g is None or total_g is None:
        return None
    unknown = ufloat(0.0, 0.15 * float(fuel.char_left_g.nominal_value) + 1.0, "char_burnt_before_weighing")
    if fuel.char_snuffed_s is not None and flameout is not None:
        until_s = min(until_s, flameout.t_s + float(fuel.char_snuffed_s.nominal_value))
        unknown = ufloat(0.0, 1.0, "char_burnt_before_weighing") + _by_then(scale, until_s, flameout)
    burnt = total_g + (fuel.starter_g or 0.0) - fuel.char_left_g - (fuel.unburnt_g or 0.0)
    return Closed(scale.lost(0.0, until_s) - burnt + unknown, until_s, BY_CHAR)


def by_usual_char(scale: Scale, plan: Plan, flameout: Event | None) -> Closed | None:
    """Close the account of the only stay by what fuel usually leaves at flameout; None without fuel or flameout."""
    fuel = plan.fuel
    total_g = put_in_g(scale, plan)
    if total_g is None or flameout is None or not 0.0 < flameout.t_s < len(scale.loss.mass_g):
        return None
    moisture = assumed(DEFAULT_MOISTURE_WET, "fuel.moisture_wet") if fuel.moisture_wet is None else fuel.moisture_wet
    unburnt_g = fuel.unburnt_g or 0.0
    burnt_g = total_g - unburnt_g
    left_g = assumed(LEFT_AT_FLAMEOUT, "char_yield") * burnt_g * (1.0 - moisture)
    lost = scale.lost(0.0, flameout.t_s) - (burnt_g + (fuel.starter_g or 0.0) - left_g)
    lost += _by_then(scale, flameout.t_s, flameout)
    return Closed(lost, flameout.t_s, "what such fuel usually leaves as char")


def _by_then(scale: Scale, t_s: float, flameout: Event) -> UFloat:
    """Return what may have left before or after a moment that counts from an unsure flameout, a variable about zero."""
    seconds = np.arange(len(scale.loss.mass_g)) + 0.5
    before, after = np.interp([t_s - flameout.u_s, t_s + flameout.u_s], seconds, scale.loss.mass_g)
    return error_about_zero(abs(float(before - after)) / 2.0, "flameout")


def lidded(scale: Scale, plan: Plan, stay: Stay, t_s: Array) -> Mask:
    """Return the seconds in which a lid lies on the pot: the plan's from the start, then as the load shows."""
    pot = plan.pot
    on = np.full(len(t_s), pot is not None and pot.lid)
    if pot is not None:
        for step in _between(scale, stay):
            if _is_lid(step, pot):
                on[t_s >= step.t_s] = step.size_g.nominal_value > 0
    return on


def weighted(one: UFloat, other: UFloat) -> UFloat:
    """Return the mean of two values weighted by their variances; where they disagree, they are less sure than they say.

    The uncertainty is widened by the ratio of Birge (Phys. Rev. 40 (1932) 207): the root of the weighted squares.
    """
    variance = one.std_dev**2 + other.std_dev**2
    share = other.std_dev**2 / variance
    mean = one * share + other * (1.0 - share)
    excess = (one.nominal_value - other.nominal_value) ** 2 / variance - 1.0
    return mean + error_about_zero(float(mean.std_dev * max(excess, 0.0) ** 0.5), "pot_account_doubtful")


def _between(scale: Scale, stay: Stay) -> list[MassStep]:
    """Return the loads laid on and taken off during a stay that are no fuel, the largest first."""
    begin = stay.on.end_s if stay.on is not None else 0
    end = stay.off.start_s if stay.off is not None else len(scale.loss.mass_g)
    return sorted(
        (
            step
            for step in scale.loads.steps
            if begin <= step.start_s and step.end_s <= end and step not in scale.loads.refuels
            if abs(step.size_g.nominal_value) >= max(LEAST_LID_G, 5.0 * step.size_g.std_dev)
        ),
        key=lambda step: -abs(step.size_g.nominal_value),
    )[:_MOST_ASKED]


def _is_lid(step: MassStep, pot: PotPlan) -> bool:
    size = abs(float(step.size_g.nominal_value))
    if pot.lid_g is not None:
        lid_g = float(pot.lid_g.nominal_value)
        return abs(size - lid_g) <= max(LID_MATCH_G, MATCH_SHARE * lid_g)
    return pot.lid and (pot.tare_g is None or size < 0.6 * float(pot.tare_g.nominal_value))


def _chance_on_pot(step: MassStep, pot: PotPlan | None) -> float:
    return LID_CHANCE if pot is not None and _is_lid(step, pot) else 0.5


def _lidded_at_end(scale: Scale, stay: Stay, pot: PotPlan) -> float:
    """Return the chance that a lid lay on the pot when it was lifted."""
    lids = sorted((step for step in _between(scale, stay) if _is_lid(step, pot)), key=lambda step: step.start_s)
    lid = lids[-1].size_g.nominal_value > 0 if lids else pot.lid
    return LID_CHANCE if lid else 1.0 - LID_CHANCE


def _what_fits(
    net: UFloat, loads: Sequence[tuple[UFloat, float]], witnesses: Sequence[UFloat], water_g: UFloat | None
) -> UFloat:
    """Return a net weight with those loads added that stood on the pot: mean and spread over all possibilities.

    Args:
        net: What was set down less what was lifted.
        loads: What was laid on (or, negative, taken off) meanwhile, each with its chance to have been on the pot.
        witnesses: Other accounts of the water.
        water_g: Water in the pot; no more can have left.
    """
    if not loads:
        return net
    totals, chances = [], []
    for taken in product((True, False), repeat=len(loads)):
        total = net + sum((size for (size, _), on in zip(loads, taken, strict=True) if on), to_affine_scalar(0.0))
        chance = 1.0
        for (_, prior), on in zip(loads, taken, strict=True):
            chance *= prior if on else 1.0 - prior
        for witness in witnesses:
            chance *= exp(-0.5 * min(_apart(total, witness), 4.0) ** 2)
        far_g = 3.0 * float(total.std_dev)
        possible = total.nominal_value > -far_g and (water_g is None or total.nominal_value < water_g.n + far_g)
        totals.append(total)
        chances.append(chance if possible else chance * _LEAST_CHANCE)
    weights = np.array(chances) / sum(chances)
    mean = sum((float(w) * total for w, total in zip(weights, totals, strict=True)), to_affine_scalar(0.0))
    values = np.array([float(total.nominal_value) for total in totals])
    spread_g = float(np.sqrt(np.sum(weights * (values - float(mean.nominal_value)) ** 2)))
    return mean + error_about_zero(spread_g if spread_g > 0.05 else 0.0, "laid_on_pot")


def _apart(total: UFloat, witness: UFloat) -> float:
    """Return how far a total lies from a witness, in standard uncertainties."""
    u = np.hypot(total.std_dev, max(witness.std_dev, WITNESS_REL_U * abs(witness.nominal_value)))
    return float(abs(total.nominal_value - witness.nominal_value) / max(u, 1e-6))


def _contradiction_g(total: UFloat, witnesses: Sequence[UFloat]) -> float:
    """Return by how much a total differs from the nearest of two accounts that both contradict it, else zero."""
    if len(witnesses) < 2 or any(_apart(total, witness) < CONTRADICTED for witness in witnesses):
        return 0.0
    gaps = [float(total.nominal_value - witness.nominal_value) for witness in witnesses]
    return min(abs(gap) for gap in gaps) if min(gaps) * max(gaps) > 0.0 else 0.0


def _handled(scale: Scale, on: MassStep, off: MassStep) -> UFloat:
    """Return what setting down and lifting leave unsure of the water, a variable about zero.

    The hot gas carries part of the pot, more of it the better it burns; and while the moment at which the pot moved is
    unsure, so is what the steam's rate makes of that time.
    """
    unsure = scale.jet_g * (scale.blaze(off.start_s) - scale.blaze(on.start_s))
    seconds = np.arange(len(scale.loss.rate_g_s)) + 0.5
    for step, tag in ((on, "pot_on"), (off, "pot_off")):
        before, after = np.interp([step.start_s - 5.0, step.end_s + 5.0], seconds, scale.loss.rate_g_s)
        unsure += error_about_zero(abs(float(after - before)) * float(step.moved_s.std_dev), tag)
    return unsure
