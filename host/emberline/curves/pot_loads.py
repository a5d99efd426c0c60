"""What a pot may weigh, by the plan where it knows that, by what is usual where it does not."""

from emberline.bench.plan import PotPlan

POT_G = 250.0
"""Without a plan, a load from which on it is taken for a pot with water (common practice, no source)."""
MOST_POT = 1.5
"""A pot is lifted with no more than so many times its planned weight: a lid, and more water (common practice)."""
LEAST_FILLED = 0.3
"""Least share of its planned water with which a pot is set down (common practice, no source)."""
MATCH_G = 20.0
"""Distance within which a step matches a planned weight."""
MATCH_SHARE = 0.05
"""The same as a share of the planned weight."""


def spare_g(load: float) -> float:
    """Return by how much a load may differ from what was expected and still be that."""
    return max(MATCH_G, MATCH_SHARE * abs(load))


def matches(size: float, expected: float) -> bool:
    """Tell whether a load weighs what was expected."""
    return abs(size - expected) <= spare_g(expected)


def least_pot_g(pot: PotPlan | None) -> float:
    """Return the least weight that passes for the pot with what is left in it."""
    if pot is not None and pot.tare_g is not None:
        tare = float(pot.tare_g.nominal_value)
        return tare - spare_g(tare)
    return POT_G


def least_filled_g(pot: PotPlan | None) -> float:
    """Return the least weight that passes for the pot when it is set down, with `LEAST_FILLED` of its water in it."""
    least_g = least_pot_g(pot)
    if pot is None or pot.tare_g is None:
        return least_g
    water_g = [visit.water_g.nominal_value for visit in (pot.visit(0), *pot.visits) if visit.water_g is not None]
    return max(least_g, float(pot.tare_g.nominal_value) + LEAST_FILLED * min(water_g)) if water_g else least_g


def most_pot_g(pot: PotPlan | None) -> float:
    """Return what no pot of the plan weighs, however full; infinity where the plan does not know it."""
    if pot is None or pot.tare_g is None or pot.visit(0).water_g is None:
        return float("inf")
    water_g = max(visit.water_g.nominal_value for visit in (pot.visit(0), *pot.visits) if visit.water_g is not None)
    return MOST_POT * float(pot.tare_g.nominal_value + water_g)
