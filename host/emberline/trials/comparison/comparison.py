"""Several burns side by side: their groups, each result's means and differences, and what speaks against them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from emberline.trials.comparison.burns_needed import burns_needed, resolved
from emberline.trials.comparison.confounding import Circumstances, warnings
from emberline.trials.comparison.differences import Difference, all_differences
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import Measured, Sample, sample_of
from emberline.trials.comparison.shared import u_of_mean
from emberline.trials.comparison.trend import Trend, numeric, trend

NOT_GIVEN = "not given"
LEAST_LEVELS = 3
"""Of a numeric factor, so that a line through its burns says more than a difference."""


@dataclass(frozen=True, slots=True)
class Burn:
    """One trial as a comparison sees it.

    Attributes:
        trial: The trial's id.
        label: Its name for people, or None.
        bench: Id of its bench.
        lot: Name of its fuel lot, or None.
        results: Its results as in the summary JSON.
        absent: Why a result is absent, by its name.
        circumstances: Under what it was burnt.
        left_out: Why it does not count, in words; None where it does.
    """

    trial: str
    label: str | None
    bench: str
    lot: str | None
    results: Mapping[str, Mapping[str, Any]]
    absent: Mapping[str, str] = field(default_factory=dict)
    circumstances: Circumstances = field(default_factory=Circumstances)
    left_out: str | None = None

    def measured(self, result: str) -> Measured | None:
        """Return one of its results; None where it is absent."""
        found = self.results.get(result)
        if found is None:
            return None
        return Measured(self.trial, found["value"], found["u"] or 0.0, found["budget"], self.bench, self.lot)


@dataclass(frozen=True, slots=True)
class GroupFigure:
    """One result of one group.

    Attributes:
        burns: The burns that have it.
        sample: Mean and scatter; None where no burn has it.
        u_shared: Standard uncertainty of the mean by what its burns have wrong in the same way.
        without: Why a burn lacks it, by trial.
    """

    burns: tuple[Measured, ...]
    sample: Sample | None
    u_shared: float
    without: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Compared:
    """One result compared.

    Attributes:
        result: Its name.
        unit: Its unit.
        groups: Its figures by group.
        differences: Of all pairs of groups with two burns or more.
        trend: The line against the factor by which they were grouped, where that is a number of three levels or more.
    """

    result: str
    unit: str
    groups: Mapping[str, GroupFigure]
    differences: tuple[Difference, ...]
    trend: Trend | None = None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Several groups of burns compared.

    Attributes:
        by: The factors by which they were grouped; empty where a person chose the groups.
        levels: Each burn's level of a factor that is a number, by trial; empty otherwise.
        level_unit: The unit of those levels.
        groups: The burns that count, by group.
        left_out: The burns that do not, with the reason in each.
        compared: The results, in the order asked for.
        warnings: What a reader must know before putting a difference down to what was changed.
    """

    by: tuple[str, ...]
    levels: Mapping[str, float]
    level_unit: str
    groups: Mapping[str, tuple[Burn, ...]]
    left_out: tuple[Burn, ...]
    compared: tuple[Compared, ...]
    warnings: tuple[str, ...]


def grouped(burns: Sequence[Burn], by: Sequence[str]) -> dict[str, list[Burn]]:
    """Return the burns by their levels of some factors, groups in the order of their first burn.

    Raises:
        ComparisonError: No factor is named, or one that no burn has.
    """
    if not by:
        raise ComparisonError("name a factor by which to compare, or the trials of each group")
    known = sorted({name for burn in burns for name in burn.circumstances.factors})
    strange = [name for name in by if name not in known]
    if strange:
        listed = ", ".join(known) or "none: factors are given in the plan"
        raise ComparisonError(f"no trial has the factor {strange[0]!r}; the factors are: {listed}")
    groups: dict[str, list[Burn]] = {}
    for burn in burns:
        factors = burn.circumstances.factors
        name = ", ".join(f"{one} {factors.get(one, NOT_GIVEN)}" for one in by)
        groups.setdefault(name, []).append(burn)
    return groups


def compare(groups: Mapping[str, Sequence[Burn]], results: Sequence[str], by: Sequence[str] = ()) -> Comparison:
    """Compare groups of burns.

    Args:
        groups: Burns by group.
        results: Names of the results, in the order in which they are to be shown; one that no burn has is left out.
        by: The factors by which the groups were made.

    Raises:
        ComparisonError: A trial stands in two groups, or no burn is left that counts.
    """
    trials = [burn.trial for burns in groups.values() for burn in burns]
    twice = sorted({trial for trial in trials if trials.count(trial) > 1})
    if twice:
        raise ComparisonError(f"trial {twice[0]} stands in two groups: a burn counts once")
    counting = {name: tuple(b for b in burns if b.left_out is None) for name, burns in groups.items()}
    counting = {name: burns for name, burns in counting.items() if burns}
    left_out = tuple(burn for burns in groups.values() for burn in burns if burn.left_out is not None)
    if not counting:
        raise ComparisonError("no burn is left that counts" + (": all are excluded" if left_out else ""))
    levels, level_unit = _levels(counting, by)
    compared = (_compared(result, counting, levels) for result in results)
    circumstances = {name: [burn.circumstances for burn in burns] for name, burns in counting.items()}
    return Comparison(
        by=tuple(by),
        levels=levels,
        level_unit=level_unit,
        groups=counting,
        left_out=left_out,
        compared=tuple(c for c in compared if c is not None),
        warnings=tuple(warnings(circumstances, by)),
    )


def _levels(groups: Mapping[str, Sequence[Burn]], by: Sequence[str]) -> tuple[dict[str, float], str]:
    """Return each burn's level of a single numeric factor, and its unit; nothing where it is no such factor."""
    burns = [burn for group in groups.values() for burn in group]
    if len(by) != 1 or any(by[0] not in burn.circumstances.factors for burn in burns):
        return {}, ""
    found = numeric([burn.circumstances.factors[by[0]] for burn in burns])
    if found is None or len(set(found[0])) < LEAST_LEVELS:
        return {}, ""
    return {burn.trial: level for burn, level in zip(burns, found[0], strict=True)}, found[1]


def _compared(result: str, groups: Mapping[str, Sequence[Burn]], levels: Mapping[str, float]) -> Compared | None:
    units = {burn.results[result]["unit"] for burns in groups.values() for burn in burns if result in burn.results}
    if not units:
        return None
    found = {name: [m for burn in burns if (m := burn.measured(result))] for name, burns in groups.items()}
    figures = {
        name: GroupFigure(
            tuple(found[name]),
            sample_of([m.value for m in found[name]]) if found[name] else None,
            u_of_mean(found[name], name) if found[name] else 0.0,
            {b.trial: b.absent.get(result, "it was not worked out") for b in burns if result not in b.results},
        )
        for name, burns in groups.items()
    }
    return Compared(result, units.pop(), figures, tuple(all_differences(found)), _trend(found, levels))


def _trend(found: Mapping[str, Sequence[Measured]], levels: Mapping[str, float]) -> Trend | None:
    burns = [one for group in found.values() for one in group]
    if not levels:
        return None
    try:
        return trend([levels[one.trial] for one in burns], [one.value for one in burns])
    except ComparisonError:
        return None


def half_widths(compared: Compared) -> list[float | None]:
    """Return half the width of the widest difference's interval after each round in which all groups had as many burns.

    Args:
        compared: The result, each group's burns in the order in which they were made.
    """
    groups = [figure.burns for figure in compared.groups.values()]
    found: list[float | None] = []
    for n in range(1, min((len(burns) for burns in groups), default=0) + 1):
        differences = all_differences({str(index): burns[:n] for index, burns in enumerate(groups)})
        found.append(max((0.5 * (d.interval_95[1] - d.interval_95[0]) for d in differences), default=None))
    return found


def scatter_of(difference: Difference) -> float:
    """Return the standard deviation of single burns, both groups together."""
    one, other = difference.sample_a.sd or 0.0, difference.sample_b.sd or 0.0
    return float((0.5 * (one**2 + other**2)) ** 0.5)


def more_burns(difference: Difference, wished: float) -> int:
    """Return how many more burns of each group would show a difference, 0 where there are enough.

    Args:
        difference: What is known so far.
        wished: The difference to be shown.

    Raises:
        ComparisonError: More burns would be needed than anybody makes, or no number of them would do.
    """
    needed = burns_needed(wished, scatter_of(difference), difference.u_shared)
    return max(0, needed - min(difference.sample_a.n, difference.sample_b.n))


def smallest_shown(difference: Difference) -> float:
    """Return the smallest difference that as many burns show in most series."""
    return resolved(scatter_of(difference), min(difference.sample_a.n, difference.sample_b.n), difference.u_shared)
