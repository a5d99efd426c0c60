"""What was put into the stove: the fuel of all fills, each with its own moisture, and the starter."""

from functools import cached_property

from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

from emberline.bench import fuels
from emberline.bench.plan import Plan
from emberline.curves.weighed_refuels import paired
from emberline.heat.combustion import Charge, charge_of
from emberline.heat.errors import AbsentError
from emberline.heat.scale import Scale

UNKNOWN_STARTER_G = (3.0, 2.5)
"""Starter where nobody said what was put in, with standard uncertainty: people pour 2 to 8 g of spirit over a batch, up
to 10 ml, and some none (common practice, no source)."""


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
        """Fire starter: none where a plan of the fuel gives none, unknown where nobody wrote one."""
        fuel = self.plan.fuel
        if fuel.starter_g is None and fuel.mass_g is None:
            return assumed(UNKNOWN_STARTER_G, "fuel.starter_g")
        return to_affine_scalar(0.0) if fuel.starter_g is None else fuel.starter_g

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


def starter_of(plan: Plan) -> float:
    """Return the liquid starter of the plan, in grams; 0 where it tells of none."""
    return 0.0 if plan.fuel.starter_g is None else float(plan.fuel.starter_g.nominal_value)


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
    for pair in paired(found, known):
        total += sum(scale.load(step.size_g) for step in pair.loads) if pair.weighed is None else known[pair.weighed]
    return total
