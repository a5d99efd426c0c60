"""What was put into the stove: the fuel of all fills, each with its own moisture, and the starter."""

from collections.abc import Sequence
from functools import cache, cached_property

from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

from emberline.bench import fuels
from emberline.bench.plan import Plan
from emberline.curves.mass_steps import MassStep
from emberline.heat.combustion import Charge, charge_of
from emberline.heat.errors import AbsentError
from emberline.heat.scale import Scale

HANDFULS = 4
"""Most loads that one weighed refuel comes in."""
HANDFULS_S = 60.0
"""Time within which one weighed refuel is put in (common practice, no source)."""
_MATCH_G, _MATCH_SHARE = 1.0, 0.03
_UNMATCHED = 9.0
_ONE_MORE = 1.0


class FuelIn:
    """Fuel and starter of one burn.

    Args:
        plan: What a person said.
        total_g: Moist fuel put in, first fill, kindling and refuels, as the ledger knows it; where it is None, the
            weights of the plan must do.
    """

    def __init__(self, plan: Plan, total_g: UFloat | None) -> None:
        self.plan = plan
        self.total_g = _weighed_g(plan) if total_g is None else total_g

    @cached_property
    def moisture_wet(self) -> UFloat:
        """Moisture of the first fill, assumed where the plan gives none."""
        given = self.plan.fuel.moisture_wet
        return assumed(fuels.DEFAULT_MOISTURE_WET, "fuel.moisture_wet") if given is None else given

    @cached_property
    def lhv_dry(self) -> UFloat:
        """Net calorific value of the dry fuel, J/g, assumed where the plan gives none."""
        given = self.plan.fuel.lhv_dry_j_g
        return assumed(fuels.DEFAULT_LHV_DRY_J_G, "fuel.lhv_dry_j_g") if given is None else given

    @cached_property
    def starter_g(self) -> UFloat:
        """Fire starter, none where the plan gives none."""
        given = self.plan.fuel.starter_g
        return to_affine_scalar(0.0) if given is None else given

    @cached_property
    def starter_lhv(self) -> UFloat:
        """Net calorific value of the starter, J/g; that of ethanol where the plan gives none."""
        given = self.plan.fuel.starter_lhv_j_g
        return assumed(fuels.DEFAULT_STARTER_LHV_J_G, "fuel.starter_lhv_j_g") if given is None else given

    @cached_property
    def charge(self) -> Charge:
        """All fuel put in: first fill, kindling and refuels, each with its own moisture."""
        total, fuel = self.total_g, self.plan.fuel
        if total is None:
            raise AbsentError("the plan gives no fuel mass: weigh the fuel and enter fuel.mass_g")
        if fuel.mass_g is None:
            return charge_of([(total, self.moisture_wet)])
        kindling_g = to_affine_scalar(0.0) if fuel.kindling_g is None else fuel.kindling_g
        kindling_wet = self.moisture_wet if fuel.kindling_moisture_wet is None else fuel.kindling_moisture_wet
        refuels_g = total - fuel.mass_g - kindling_g
        return charge_of(
            [(fuel.mass_g, self.moisture_wet), (kindling_g, kindling_wet), (refuels_g, self._refuel_moisture())]
        )

    def _refuel_moisture(self) -> UFloat:
        refuels = self.plan.refuels
        if not refuels:
            return self.moisture_wet
        weighed = all(refuel.mass_g is not None for refuel in refuels)
        weights = [refuel.mass_g.nominal_value if weighed and refuel.mass_g is not None else 1.0 for refuel in refuels]
        moistures = [self.moisture_wet if refuel.moisture_wet is None else refuel.moisture_wet for refuel in refuels]
        return sum(w * m for w, m in zip(weights, moistures, strict=True)) / sum(weights)


def _weighed_g(plan: Plan) -> UFloat | None:
    """Return the fuel of a plan all of whose fills were weighed."""
    total = plan.fuel.mass_g
    for refuel in plan.refuels:
        if total is None or refuel.mass_g is None:
            return None
        total += refuel.mass_g
    return total if total is None or plan.fuel.kindling_g is None else total + plan.fuel.kindling_g


def assumed(value_and_u: tuple[float, float], tag: str) -> UFloat:
    """Return an assumed value with its standard uncertainty as a new variable."""
    return ufloat(*value_and_u, tag=tag)


def put_in_g(scale: Scale, plan: Plan) -> UFloat | None:
    """Return all moist fuel put in, starter not counted; None where nobody weighed the first fill.

    A refuel counts as the person weighed it, and as the load cell did where nobody else has.

    Args:
        scale: The main load cell.
        plan: What a person knows.
    """
    if plan.fuel.mass_g is None:
        return None
    total = plan.fuel.mass_g + (plan.fuel.kindling_g if plan.fuel.kindling_g is not None else 0.0)
    found = scale.loads.refuels
    weighed = [refuel.mass_g for refuel in plan.refuels]
    known = [mass for mass in weighed if mass is not None]
    if len(known) < len(weighed):
        # Without all weights, only their order tells which is which.
        for index, step in enumerate(found):
            mass = weighed[index] if index < len(weighed) else None
            total += scale.load(step.size_g) if mass is None else mass
        return total
    for loads, mass in _paired(found, known):
        total += sum((scale.load(step.size_g) for step in loads), to_affine_scalar(0.0)) if mass is None else mass
    return total


def _paired(found: Sequence[MassStep], weighed: Sequence[UFloat]) -> list[tuple[Sequence[MassStep], UFloat | None]]:
    """Pair loads with weighed refuels in their order, so that the squares of what does not fit are fewest.

    One refuel may come in handfuls. A load that no weighed refuel explains stands alone; a refuel of which the load
    cell shows nothing was not put in while it looked, and is left out.
    """

    @cache
    def best(i: int, j: int) -> tuple[float, tuple[tuple[int, int | None], ...]]:
        if i == len(found):
            return _UNMATCHED * (len(weighed) - j), ()
        cost, rest = best(i + 1, j)
        ways = [(cost + _UNMATCHED, ((i + 1, None), *rest))]
        if j < len(weighed):
            cost, rest = best(i, j + 1)
            ways.append((cost + _UNMATCHED, rest))
            for end in range(i + 1, min(i + HANDFULS, len(found)) + 1):
                if found[end - 1].t_s - found[i].t_s > HANDFULS_S:
                    break
                cost, rest = best(end, j + 1)
                misfit = _misfit(found[i:end], weighed[j]) + _ONE_MORE * (end - i - 1)
                ways.append((cost + misfit, ((end, j), *rest)))
        return min(ways, key=lambda way: way[0])

    pairs: list[tuple[Sequence[MassStep], UFloat | None]] = []
    begin = 0
    for end, j in best(0, 0)[1]:
        pairs.append((found[begin:end], None if j is None else weighed[j]))
        begin = end
    return pairs


def _misfit(loads: Sequence[MassStep], mass: UFloat) -> float:
    """Return the squared distance of some loads' sum from a weighed mass, in its variance."""
    total = sum((step.size_g for step in loads), to_affine_scalar(0.0))
    variance = total.std_dev**2 + mass.std_dev**2 + _MATCH_G**2 + (_MATCH_SHARE * mass.nominal_value) ** 2
    return float((total.nominal_value - mass.nominal_value) ** 2 / variance)
