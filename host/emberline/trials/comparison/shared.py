"""What several trials have wrong in the same way: no scatter shows it, and it cancels where both sides have it.

The contributions come signed from each result's budget (JCGM 100:2008, F.1.2: correlated inputs). Inputs that a person
read anew for each burn, and what is drawn anew by each burn, are in the scatter already and are not counted again.
"""

import math
from collections import defaultdict
from collections.abc import Sequence

from emberline.trials.comparison.measured import Measured

OF_A_LOT = frozenset(
    {
        "fuel.lhv_dry_j_g",
        "fuel.hhv_dry_j_g",
        "fuel.hydrogen_fraction",
        "fuel.lhv_as_fired_j_g",
        "fuel.char_lhv_j_g",
        "fuel.ash_fraction",
    }
)
"""Inputs that are one and the same for all fuel of a lot."""
OF_A_BENCH = frozenset({"load_cell_span", "water_probe_bias", "water_probe_span", "water_probe_lag"})
"""Inputs that are one and the same for all trials on a bench."""
OF_ALL = frozenset({"fuel.starter_lhv_j_g"})
"""Inputs that are one and the same everywhere."""

Key = tuple[str, str]
"""An input and what carries it."""


def carried(group: Sequence[Measured], name: str) -> dict[Key, float]:
    """Return the contributions of inputs shared by trials to the mean of a group.

    Args:
        group: At least one trial.
        name: Name of the group. Fuel without a lot's name is taken for one lot within the group and for another one
            elsewhere, so that nothing cancels that may not.
    """
    sums: dict[Key, float] = defaultdict(float)
    for one in group:
        lot = f"lot {one.lot}" if one.lot is not None else f"fuel of {name}"
        for tag, part in one.budget.items():
            if tag in OF_A_LOT:
                sums[tag, lot] += part
            elif tag in OF_A_BENCH:
                sums[tag, f"bench {one.bench}"] += part
            elif tag in OF_ALL:
                sums[tag, ""] += part
    return {key: total / len(group) for key, total in sums.items()}


def u_of_mean(group: Sequence[Measured], name: str = "") -> float:
    """Return the standard uncertainty that shared inputs leave in a group's mean."""
    return math.hypot(*carried(group, name).values())


def u_of_difference(a: Sequence[Measured], b: Sequence[Measured]) -> float:
    """Return the standard uncertainty that shared inputs leave in the difference of two groups' means."""
    left, right = carried(a, "A"), carried(b, "B")
    return math.hypot(*(left.get(key, 0.0) - right.get(key, 0.0) for key in left.keys() | right.keys()))
