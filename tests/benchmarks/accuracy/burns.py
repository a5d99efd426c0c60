"""One simulated burn, made again from its name: its curves, what a person wrote down, and what truly happened."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.accuracy.mixing import between, chance, mixed
from benchmarks.accuracy.plans import exactly, roughly
from benchmarks.accuracy.scoring import Expected
from benchmarks.accuracy.true_events import dips_of, expected_of, traits_of
from benchmarks.accuracy.true_results import results_of
from emberline.bench.channels import Role
from emberline.bench.samples import Curve
from emberline_sim.family import FAMILIES, random_scenario
from emberline_sim.files import plan_text
from emberline_sim.particles import KINDS, random_burn
from emberline_sim.recording import Recording, record

LAYER = "layer"
"""The simulator whose fuel burns as a front through a layer."""
PARTICLES = "particles"
"""The simulator whose fuel is a heap of particles, each with a fate of its own."""
ROUND_M = 10.0
"""The second simulator's people who measure well are those who know their altitude to better than this."""


@dataclass(frozen=True, slots=True)
class Name:
    """What a burn can be made again from: simulator, family and seed."""

    simulator: str
    family: str
    seed: int

    def __str__(self) -> str:
        return f"{self.simulator}/{self.family}/{self.seed}"


@dataclass(frozen=True, slots=True, eq=False)
class Burn:
    """A burn as it is given to be judged.

    Attributes:
        name: Its name.
        curves: What each channel delivered.
        plan: The plan's text.
        expected: What truly happened, as far as the record goes.
        results: True results by name; none where the record shows only a part of the burn.
        dips: Stretches in which fresh fuel smothered the fire.
        dark: Stretches in which no flame burnt, and after which one did again.
        late_s: Length of the longest gap.
        traits: What the bench and the person made known.
    """

    name: Name
    curves: Mapping[Role, Curve]
    plan: str
    expected: tuple[Expected, ...]
    results: Mapping[str, float]
    dips: tuple[tuple[float, float], ...]
    dark: tuple[tuple[float, float], ...]
    late_s: float
    traits: frozenset[str]


def families(simulator: str) -> tuple[str, ...]:
    """Return the names of a simulator's families."""
    return _SIMULATORS[simulator].families


def simulators() -> tuple[str, ...]:
    """Return the names of all simulators."""
    return tuple(_SIMULATORS)


def names(count: int, seed: int, simulator: str | None = None, family: str | None = None) -> list[Name]:
    """Return the names of `count` burns, simulators and families in turn."""
    chosen = [
        (one, kin)
        for index in range(max(len(families(one)) for one in simulators()))
        for one in simulators()
        for kin in [families(one)[index % len(families(one))]]
        if simulator in (None, one) and family in (None, kin)
    ]
    return [Name(*chosen[i % len(chosen)], seed + i) for i in range(count)] if chosen else []


def burn(name: Name) -> Burn:
    """Make a burn."""
    rng = np.random.default_rng([name.seed, *str(name).encode()])
    recording = _SIMULATORS[name.simulator].make(name, rng)
    curves = {Role(role): Curve(c.t_s, c.value) for role, c in recording.channels.items() if len(c.t_s)}
    plan, traits = plan_text(recording), traits_of(recording)
    if name.simulator == LAYER:
        plan, how = _plan(plan, rng)
        traits.add(how)
        curves = {role: _written(role, curve, rng) for role, curve in curves.items()}
    elif recording.scenario.place.altitude_m % ROUND_M:
        plan, traits = exactly(plan), traits | {"exact"}
    whole = Burn(
        name,
        curves,
        plan,
        expected_of(recording),
        results_of(recording),
        tuple(dips_of(recording)),
        recording.truth.dark,
        max((gap.to_s - gap.from_s for gap in recording.scenario.gap), default=0.0),
        frozenset(traits),
    )
    return _cut(whole, rng) if name.simulator == LAYER else whole


def _layer(name: Name, rng: np.random.Generator) -> Recording:
    return record(mixed(random_scenario(name.seed, name.family), rng))


def _particles(name: Name, _rng: np.random.Generator) -> Recording:
    """Make a burn of the second simulator, which draws bench, faults and person by itself."""
    return random_burn(name.seed, name.family)


@dataclass(frozen=True, slots=True)
class _Simulator:
    families: tuple[str, ...]
    make: Callable[[Name, np.random.Generator], Recording]


_SIMULATORS = {LAYER: _Simulator(tuple(FAMILIES), _layer), PARTICLES: _Simulator(tuple(KINDS), _particles)}


def _plan(text: str, rng: np.random.Generator) -> tuple[str, str]:
    """Return what the person wrote down, and how well."""
    how = str(rng.choice(["exact", "rough", "no plan"], p=[0.35, 0.57, 0.08]))
    if how == "no plan":
        return "", how
    return (exactly(text) if how == "exact" else roughly(text, rng)), how


def _written(role: Role, curve: Curve, rng: np.random.Generator) -> Curve:
    """Return a curve as a logger writes it down: now and then in coarse steps, or without some of the samples."""
    t_s, value = curve.t_s, curve.value
    if chance(rng, 0.1):
        step = {Role.MASS: 0.5, Role.POT_MASS: 0.5, Role.PRESSURE: 10.0}.get(role, 0.5)
        value = np.round(value / step) * step
    if chance(rng, 0.1):
        keep = rng.random(len(t_s)) > between(rng, 0.1, 0.4)
        keep[:1] = keep[-1:] = True
        t_s, value = t_s[keep], value[keep]
    return Curve(t_s, value)


def _cut(whole: Burn, rng: np.random.Generator) -> Burn:
    """Return a burn that was recorded from its middle on, or only up to its flameout, in one of twelve cases."""
    times: dict[str, float] = {event.kind: event.t_s for event in whole.expected}
    lit_s, out_s = times.get("lit"), times.get("flameout")
    if lit_s is None or out_s is None or out_s - lit_s < 400.0:
        return whole
    begins = chance(rng, 0.04)
    ends = not begins and chance(rng, 0.045)
    if begins:
        return _between(whole, between(rng, lit_s + 120.0, lit_s + 0.4 * (out_s - lit_s)), np.inf)
    return _between(whole, 0.0, out_s + between(rng, 0.0, 40.0)) if ends else whole


def _between(whole: Burn, from_s: float, to_s: float) -> Burn:
    curves = dict(_pieces(whole.curves, from_s, to_s))
    start_s = min((float(curve.t_s[0]) for curve in curves.values()), default=0.0) if from_s > 0.0 else 0.0
    expected = [replace(event, t_s=event.t_s - start_s) for event in whole.expected if from_s <= event.t_s <= to_s]
    # What a pot or a fire did before the record began cannot be dated; what happened at its very end hardly can.
    if from_s > 0.0:
        expected += [Expected(kind, 0.0, optional=True) for kind in ("lit", "pot_on")]
    end_s = max((float(curve.t_s[-1]) for curve in curves.values()), default=0.0) - start_s
    expected = [replace(e, optional=e.optional or e.t_s > end_s - _settling_s(e.kind)) for e in expected]
    return replace(
        whole,
        curves={role: Curve(curve.t_s - start_s, curve.value) for role, curve in curves.items()},
        expected=tuple(sorted(expected, key=lambda event: event.t_s)),
        results={},
        dips=tuple((low - start_s, high - start_s) for low, high in whole.dips),
        dark=tuple((low - start_s, high - start_s) for low, high in whole.dark),
        traits=whole.traits | {"part"},
    )


def _settling_s(kind: str) -> float:
    """Return how long a record must go on after an event for it to be demanded."""
    return 60.0 if kind in ("flameout", "boil") else 15.0


def _pieces(curves: Mapping[Role, Curve], from_s: float, to_s: float) -> Iterator[tuple[Role, Curve]]:
    for role, curve in curves.items():
        keep: NDArray[np.bool_] = (curve.t_s >= from_s) & (curve.t_s < to_s)
        if keep.any():
            yield role, Curve(curve.t_s[keep], curve.value[keep])
