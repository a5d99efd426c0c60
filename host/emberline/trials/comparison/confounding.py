"""What else may have made a difference: the order of the burns, the weather, and factors that changed together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from emberline.trials.comparison.differences import difference
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import Measured

LEAST_FOR_WEATHER = 2
WEATHER = {"air temperature": ("°C", 3.0), "air pressure": ("hPa", 10.0), "wind on the scale": ("g", 1.0)}
"""What is looked at of the weather, its unit, and the difference of means below which nothing is said: three
degrees and 10 hPa (0.3 K of the boiling point) are less than a few burns show; common practice, no source."""
ALPHA = 0.05


@dataclass(frozen=True, slots=True)
class Circumstances:
    """Under what a trial was burnt.

    Attributes:
        start_ns: When it began, UTC nanoseconds; None where only times within the trial are known.
        factors: The conditions that a person named.
        weather: Means over the burn by the names of `WEATHER`, those that are known.
    """

    start_ns: int | None = None
    factors: Mapping[str, str] = field(default_factory=dict)
    weather: Mapping[str, float] = field(default_factory=dict)


Groups = Mapping[str, Sequence[Circumstances]]


def warnings(groups: Groups, compared: Sequence[str] = ()) -> list[str]:
    """Return what a reader must know before a difference is put down to what was changed, a sentence each.

    Args:
        groups: The trials' circumstances by group.
        compared: The factors by which the groups were made.
    """
    found = []
    for a, b in combinations(groups, 2):
        if groups[a] and groups[b]:
            found += _order(a, b, groups)
            found += _together(a, b, groups, compared)
            found += _weather(a, b, groups)
    return found


def _order(a: str, b: str, groups: Groups) -> list[str]:
    starts = [sorted(c.start_ns for c in groups[name] if c.start_ns is not None) for name in (a, b)]
    if min(len(one) for one in starts) < 2:
        return []
    for (first, early), (second, late) in (((a, starts[0]), (b, starts[1])), ((b, starts[1]), (a, starts[0]))):
        if early[-1] < late[0]:
            words = (
                f"All burns of {first} came before all of {second}: whatever changed in between (weather, moisture, "
                "practice) counts as a difference of the two. Take turns, as `emberline order` plans it."
            )
            return [words]
    return []


def _together(a: str, b: str, groups: Groups, compared: Sequence[str]) -> list[str]:
    names = sorted({name for group in (a, b) for one in groups[group] for name in one.factors} - set(compared))
    found = []
    for name in names:
        left, right = ({one.factors.get(name, "not given") for one in groups[group]} for group in (a, b))
        if not left & right:
            found.append(
                f"{name} changed together with the rest: {_listed(left)} in {a}, {_listed(right)} in {b}. The burns "
                "cannot tell which of the changes made a difference."
            )
    return found


def _weather(a: str, b: str, groups: Groups) -> list[str]:
    found = []
    for name, (unit, least) in WEATHER.items():
        left, right = ([one.weather[name] for one in groups[group] if name in one.weather] for group in (a, b))
        if min(len(left), len(right)) < LEAST_FOR_WEATHER:
            continue
        means = sum(left) / len(left), sum(right) / len(right)
        if abs(means[1] - means[0]) < least:
            continue
        if _differ(left, right):
            found.append(
                f"The {name} differed too: {means[0]:.1f} {unit} on average in {a}, {means[1]:.1f} {unit} in {b}."
            )
    return found


def _differ(left: Sequence[float], right: Sequence[float]) -> bool:
    """Tell whether means differ beyond their scatter; without any scatter, as where a person gave them, they do."""
    try:
        return difference([Measured("", one) for one in left], [Measured("", one) for one in right]).p < ALPHA
    except ComparisonError:
        return True


def _listed(words: set[str]) -> str:
    return " or ".join(sorted(words))
