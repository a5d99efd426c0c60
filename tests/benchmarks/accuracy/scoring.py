"""What a method found in burns, held against what happened in them. Knows neither simulators nor Emberline."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from statistics import NormalDist

import numpy as np

WINDOW_S = {
    "lit": 120.0, "pot_on": 30.0, "boil": 90.0, "pot_off": 30.0, "refuel": 45.0, "flameout": 240.0, "step": 30.0,
}  # fmt: skip
"""Distance up to which a found event is the true one, wrongly dated; beyond it, that is missed and another invented."""
COVERAGE_95 = 1.96


@dataclass(frozen=True, slots=True)
class Expected:
    """A true event.

    Attributes:
        kind: As the events of a summary are called.
        t_s: When.
        size_g: Change of load, where it had one.
        optional: Whether the readings hardly tell of it, so that finding it is neither needed nor wrong.
        where: Circumstances that have a bar of their own.
    """

    kind: str
    t_s: float
    size_g: float | None = None
    optional: bool = False
    where: str = ""


@dataclass(frozen=True, slots=True)
class Found:
    """An event that a method found; `u_s` is its standard uncertainty, NaN where the method states none."""

    kind: str
    t_s: float
    u_s: float = float("nan")
    size_g: float | None = None
    announced_s: float | None = None


@dataclass(frozen=True, slots=True)
class Figure:
    """A result or forecast with its standard uncertainty, beside its true value.

    Attributes:
        name: Its name.
        true: Its true value.
        value: What was stated.
        u: Standard uncertainty.
        u_unseen: The part of it that comes of what no sensor of a bench can see.
    """

    name: str
    true: float
    value: float
    u: float
    u_unseen: float = 0.0

    @property
    def error(self) -> float:
        """Value less truth."""
        return self.value - self.true

    @property
    def covered(self) -> bool:
        """Whether the stated 95 % interval holds the truth."""
        return abs(self.error) <= COVERAGE_95 * self.u


@dataclass(frozen=True, slots=True)
class Outcome:
    """All that became of one burn.

    Attributes:
        burn: Its name, from which it can be made again.
        expected: True events.
        found: Events of the final pass, with the moments at which a live run announced them.
        withdrawn: Kind and moment of each announcement that a live run took back.
        results: Results of which the truth is known.
        absent: Results that should be there and are not, with the reasons.
        forecasts: Forecasts made on the way.
        dips: Stretches in which fresh fuel smothered the fire.
        dark: Stretches in which no flame burnt, and after which one did again.
        late_s: By how much loads may be dated wrongly, because the record has gaps.
        traits: What the bench and the person made known: words that tables choose by.
        rivals: What the plain methods found, by their names.
    """

    burn: str
    expected: tuple[Expected, ...]
    found: tuple[Found, ...] = ()
    withdrawn: tuple[tuple[str, float], ...] = ()
    results: tuple[Figure, ...] = ()
    absent: dict[str, str] = field(default_factory=dict)
    forecasts: tuple[Figure, ...] = ()
    dips: tuple[tuple[float, float], ...] = ()
    dark: tuple[tuple[float, float], ...] = ()
    late_s: float = 0.0
    traits: frozenset[str] = frozenset()
    rivals: dict[str, tuple[Found, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Pair:
    """A true event and the one that was found for it."""

    burn: str
    true: Expected
    found: Found

    @property
    def error_s(self) -> float:
        """Found less true."""
        return self.found.t_s - self.true.t_s


@dataclass(slots=True)
class Tally:
    """How one kind of event fared.

    Attributes:
        pairs: Those found.
        missed: Those not found, with their burns.
        invented: Those that never were, with their burns.
    """

    pairs: list[Pair] = field(default_factory=list)
    missed: list[tuple[str, Expected]] = field(default_factory=list)
    invented: list[tuple[str, Found]] = field(default_factory=list)

    @property
    def true(self) -> int:
        """True events that had to be found."""
        return len(self.pairs) + len(self.missed)

    @property
    def errors_s(self) -> list[float]:
        """Found less true of all pairs."""
        return [pair.error_s for pair in self.pairs]

    @property
    def covered(self) -> list[bool]:
        """Whether each stated 95 % interval holds the truth."""
        return [abs(pair.error_s) <= COVERAGE_95 * pair.found.u_s for pair in self.pairs]

    @property
    def delays_s(self) -> list[float]:
        """Announcement less truth, of those that a live run announced."""
        return [p.found.announced_s - p.true.t_s for p in self.pairs if p.found.announced_s is not None]


def tally(
    outcomes: Iterable[Outcome],
    kind: str,
    where: Callable[[str], bool] = lambda _: True,
    found_of: Callable[[Outcome], Sequence[Found] | None] = lambda outcome: outcome.found,
) -> Tally:
    """Match what was found of one kind with what happened, nearest first.

    Args:
        outcomes: The burns.
        kind: The kind of event.
        where: Which circumstances count. What is invented belongs to the circumstances of its burn's last true event
            of this kind, or to none.
        found_of: Whose findings: by default the final pass's; None leaves a burn out.
    """
    total = Tally()
    for outcome in outcomes:
        given = found_of(outcome)
        if given is None:
            continue
        true = [event for event in outcome.expected if event.kind == kind]
        found = [event for event in given if event.kind == kind]
        reach_s = WINDOW_S[kind] + (outcome.late_s if kind not in ("boil", "lit", "flameout") else 0.0)
        near = sorted(
            (abs(f.t_s - t.t_s), i, j)
            for i, t in enumerate(true)
            for j, f in enumerate(found)
            if abs(f.t_s - t.t_s) <= reach_s
        )
        match: dict[int, int] = {}
        for _, i, j in near:
            if i not in match and j not in match.values():
                match[i] = j
        for i, event in enumerate(true):
            if event.optional or not where(event.where):
                continue
            if i in match:
                total.pairs.append(Pair(outcome.burn, event, found[match[i]]))
            else:
                total.missed.append((outcome.burn, event))
        if where(true[-1].where if true else ""):
            spare = [event for j, event in enumerate(found) if j not in match.values()]
            total.invented += [(outcome.burn, event) for event in spare]
    return total


def in_dips(outcomes: Iterable[Outcome]) -> Iterator[tuple[str, float]]:
    """Yield burn and moment of each flameout that was announced while fresh fuel smothered the fire."""
    for outcome in outcomes:
        said = [e.announced_s for e in outcome.found if e.kind == "flameout" and e.announced_s is not None]
        said += [announced_s for kind, announced_s in outcome.withdrawn if kind == "flameout"]
        for moment in said:
            if any(low <= moment <= high for low, high in outcome.dips):
                yield outcome.burn, moment


def lit_again(outcome: Outcome) -> bool:
    """Tell whether all that a live run took back of a burn were ends of flame that were true until it was lit again."""
    return all(
        kind == "flameout" and any(low <= said_s <= high for low, high in outcome.dark)
        for kind, said_s in outcome.withdrawn
    )


def refuel_excess_g(pair: Pair) -> float | None:
    """Return by how much a refuel's size misses the bar of 2 g and 3 %; None where either size is unknown."""
    if pair.found.size_g is None or pair.true.size_g is None:
        return None
    return abs(pair.found.size_g - pair.true.size_g) - (2.0 + 0.03 * pair.true.size_g)


def figures(outcomes: Iterable[Outcome], name: str, *traits: str) -> list[tuple[str, Figure]]:
    """Return a result of all burns that have certain traits; a trait with a leading `-` must be missing."""
    return [
        (outcome.burn, figure)
        for outcome in outcomes
        if all((trait[1:] not in outcome.traits) if trait[0] == "-" else trait in outcome.traits for trait in traits)
        for figure in outcome.results
        if figure.name == name
    ]


def likely(us: Sequence[float], share: float) -> float:
    """Return a percentile of the absolute errors that normal distributions of these standard uncertainties make."""
    drawn = [NormalDist().inv_cdf((i + 0.5) / 200.0) for i in range(200)]
    return percentile([u * one for u in us for one in drawn], share)


def percentile(values: Sequence[float], share: float) -> float:
    """Return a percentile of the absolute values; NaN of none."""
    return float(np.percentile(np.abs(values), share)) if len(values) else float("nan")


def mean(values: Sequence[float] | Sequence[bool]) -> float:
    """Return the mean; NaN of none."""
    return float(np.mean(values)) if len(values) else float("nan")
