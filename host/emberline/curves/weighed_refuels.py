"""Refuels that a person weighed, and the loads in which they came: in one, in handfuls, or in part beside the pot."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from uncertainties import UFloat
from uncertainties.core import to_affine_scalar

from emberline.curves.mass_steps import MassStep

HANDFULS = 8
"""Most loads that one weighed refuel comes in."""
HANDFULS_S = 60.0
"""Time within which one weighed refuel is put in (common practice, no source)."""
BESIDE_S = 20.0
"""Time between a handling of the pot and the handfuls beside it that belong together (common practice, no source)."""
LEAST_HIDDEN_G = 4.0
"""Least part of a refuel that is looked for in a handling."""
_MATCH_G, _MATCH_SHARE = 1.0, 0.03
_UNMATCHED = 9.0
_ONE_MORE = 1.0
_HIDDEN = 4.0


@dataclass(frozen=True, slots=True)
class Pair:
    """Loads that belong together.

    Attributes:
        loads: The loads, in order of time.
        weighed: Which of the weighed refuels they are; None where no weight explains them.
        rest_g: What of the weight came in by another handling.
        host: That handling; None where all is in the loads.
    """

    loads: tuple[MassStep, ...]
    weighed: int | None
    rest_g: UFloat | None = None
    host: MassStep | None = None


def paired(found: Sequence[MassStep], weighed: Sequence[UFloat], hosts: Sequence[MassStep] = ()) -> list[Pair]:
    """Pair loads with weighed refuels in their order, so that the squares of what does not fit are fewest.

    A load that no weighed refuel explains stands alone; a refuel of which the load cell shows nothing is left out.

    Args:
        found: Loads, in order of time.
        weighed: Weights of refuels, in order.
        hosts: Handlings in which a part of a refuel may hide.
    """

    @cache
    def best(i: int, j: int) -> tuple[float, tuple[Pair, ...]]:
        if i == len(found):
            return _UNMATCHED * (len(weighed) - j), ()
        cost, rest = best(i + 1, j)
        ways = [(cost + _UNMATCHED, (Pair((found[i],), None), *rest))]
        if j < len(weighed):
            cost, rest = best(i, j + 1)
            ways.append((cost + _UNMATCHED, rest))
            for end in range(i + 1, min(i + HANDFULS, len(found)) + 1):
                if found[end - 1].t_s - found[i].t_s > HANDFULS_S:
                    break
                loads = tuple(found[i:end])
                cost, rest = best(end, j + 1)
                cost += _ONE_MORE * (end - i - 1)
                ways.append((cost + misfit(_sum(loads), weighed[j]), (Pair(loads, j), *rest)))
                missing_g = weighed[j] - _sum(loads)
                beside = [host for host in hosts if _apart_s(loads, host) <= BESIDE_S]
                if beside and missing_g.nominal_value > max(LEAST_HIDDEN_G, 3.0 * missing_g.std_dev):
                    host = min(beside, key=lambda one: _apart_s(loads, one))
                    ways.append((cost + _HIDDEN, (Pair(loads, j, missing_g, host), *rest)))
        return min(ways, key=lambda way: way[0])

    return list(best(0, 0)[1])


def misfit(load_g: UFloat, mass_g: UFloat) -> float:
    """Return the squared distance of a load from a weighed mass, in its variance."""
    variance = load_g.std_dev**2 + mass_g.std_dev**2 + _MATCH_G**2 + (_MATCH_SHARE * mass_g.nominal_value) ** 2
    return float((load_g.nominal_value - mass_g.nominal_value) ** 2 / variance)


def _sum(loads: Sequence[MassStep]) -> UFloat:
    return sum((step.size_g for step in loads), to_affine_scalar(0.0))


def _apart_s(loads: Sequence[MassStep], host: MassStep) -> float:
    return max(0.0, float(loads[0].start_s - host.end_s), float(host.start_s - loads[-1].end_s))
