"""Advice that follows from a budget: what a person can do about an uncertainty, and what that would bring.

Each promise is worked out, not guessed: the inputs that a remedy betters are given the uncertainty that it reaches, and
the result's is summed anew (JCGM 100:2008, 5.1.2). Weighing the char replaces a whole balance by one weight; for that
the results are computed again with such a weight in the plan.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from uncertainties import UFloat, nominal_value, ufloat
from uncertainties.core import to_affine_scalar

from emberline.bench.plan import Plan
from emberline.curves.events import Event
from emberline.heat.account import Account
from emberline.heat.burn import Burn
from emberline.heat.moments import attempt
from emberline.heat.remedies import REMEDIES, WEIGH_CHAR, WEIGHED_U_G, Remedy
from emberline.heat.result import COVERAGE_95, Result
from emberline.heat.results import compute_results

HALVED = 0.55
"""Share of an uncertainty that may be left for it to count as halved."""
WORTHWHILE = 0.9
"""Share of an uncertainty that may be left for a remedy to be worth its trouble."""


@dataclass(frozen=True, slots=True)
class Advice:
    """What would help to know a result better.

    Attributes:
        orders: What to do, one or two things, as orders.
        u: Standard uncertainty that the result would have then.
        halves: Whether that halves the present one.
    """

    orders: tuple[str, ...]
    u: float
    halves: bool


class Adviser:
    """Knows what would make the results of one burn surer.

    Args:
        account: What the ledger handed over.
        events: The events of the final pass.
        plan: What a person said.
        boiling_point: Local boiling point of water, degrees Celsius.
        results: The results by name.
        done: Remedies that are in force already.
    """

    def __init__(
        self,
        account: Account,
        events: tuple[Event, ...],
        plan: Plan,
        boiling_point: UFloat,
        results: Mapping[str, Result],
        done: Collection[Remedy] = (),
    ) -> None:
        self._given = (account, events, plan, boiling_point)
        self._results = results
        self._done = done

    def advice(self, name: str) -> Advice | None:
        """Return what would help a result most; None where nothing here is worth its trouble.

        One remedy is enough where it halves the uncertainty; else two are tried together.
        """
        result = self._results[name]
        now = float(result.value.std_dev)
        if not now > 0.0:
            return None
        ranked = sorted(self._single(name, result), key=lambda choice: (choice[0], choice[1].order))
        if not ranked:
            return None
        best_u, best = ranked[0]
        if best_u > HALVED * now:
            pairs = [
                (_left(result, (best, other)), other) for _, other in ranked[1:] if best is not WEIGH_CHAR is not other
            ]
            if pairs:
                pair_u, second = min(pairs, key=lambda choice: (choice[0], choice[1].order))
                if pair_u <= HALVED * now:
                    return Advice((best.order, second.order), pair_u, True)
        return Advice((best.order,), best_u, best_u <= HALVED * now) if best_u <= WORTHWHILE * now else None

    def sentence(self, name: str, title: str) -> str:
        """Say the advice in a sentence; empty where there is none.

        Args:
            name: Name of the result.
            title: What a person calls it.
        """
        found = self.advice(name)
        if found is None:
            return ""
        orders = " and ".join(found.orders)
        result = self._results[name]
        brought = f"{_half(float(result.value.std_dev), result.unit)} would become {_half(found.u, result.unit)}"
        if found.halves:
            return f"To halve the uncertainty of {title}, {orders}: {brought}."
        return f"Nothing alone halves the uncertainty of {title}; it helps most to {orders}: {brought}."

    def _single(self, name: str, result: Result) -> Iterator[tuple[float, Remedy]]:
        tags = {_bare(tag) for tag in result.budget}
        for remedy in dict.fromkeys(REMEDIES[tag] for tag in sorted(tags & set(REMEDIES))):
            if remedy not in self._done:
                yield _left(result, (remedy,)), remedy
        weighed = self._if_char_weighed.get(name)
        if weighed is not None:
            yield float(weighed.value.std_dev), WEIGH_CHAR

    @cached_property
    def _if_char_weighed(self) -> Mapping[str, Result]:
        """Results as they would be had somebody smothered the char at flameout and weighed it."""
        account, events, plan, boiling_point = self._given
        burn = Burn(account, events, plan, boiling_point)
        left = attempt(lambda: burn.char_g)
        if plan.fuel.char_left_g is not None or left is None:
            return {}
        weighed = ufloat(float(nominal_value(left)), WEIGHED_U_G, "fuel.char_left_g")
        at_once = to_affine_scalar(0.0)
        fuel = replace(plan.fuel, char_left_g=weighed, char_snuffed_s=at_once)
        return compute_results(account, events, replace(plan, fuel=fuel), boiling_point).values


def _left(result: Result, remedies: tuple[Remedy, ...]) -> float:
    """Return the standard uncertainty that a result keeps once remedies have bettered its inputs."""
    variance = 0.0
    for variable, derivative in result.value.derivatives.items():
        contribution = float(derivative * variable.std_dev)
        remedy = REMEDIES.get(_bare(variable.tag or ""))
        if remedy in remedies and remedy is not None:
            contribution *= remedy.keeps(float(variable.std_dev))
        variance += contribution**2
    return float(variance**0.5)


def _bare(tag: str) -> str:
    """Return a tag without the number of a visit or a refuel."""
    return re.sub(r"\.\d+", "", tag)


def _half(u: float, unit: str) -> str:
    """Write the half-width of a 95 % interval with two digits."""
    factor, shown = (100.0, "%") if unit == "" else (1.0, "" if unit == "1" else unit)
    value = COVERAGE_95 * u * factor
    digits = f"{value:.0f}" if value >= 10.0 else f"{value:.2g}"
    return f"± {digits} {shown}".rstrip()
