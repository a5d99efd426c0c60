"""What befalls a bench and a person at random: missing channels, broken sensors, gaps, hands, and what is written down.

A family of the simulator draws a burn; this lays on it everything that the family leaves alone, so that each family
meets every subset of channels and every fault. Ranges are those of hobby benches (common practice, no source), unless a
line names another source.
"""

from dataclasses import replace

import numpy as np

from emberline_sim.scenario import Scenario
from emberline_sim.specs import BalanceSpec, ChannelsSpec, FaultSpec, GapSpec
from emberline_sim.trial_specs import HandSpec, PlaceSpec

HANDS_APART_S = 30.0
NEVER_LIT_S = 1e6


def mixed(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """Return the scenario with a bench and a person of its own."""
    scenario = replace(scenario, channels=_subset(scenario, rng))
    scenario = _with_rates(scenario, rng)
    scenario = _with_sensor_faults(scenario, rng)
    scenario = _with_habits(scenario, rng)
    return _with_hands(scenario, rng)


def chance(rng: np.random.Generator, share: float) -> bool:
    """Return true in a share of all cases."""
    return bool(rng.random() < share)


def between(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw uniformly."""
    return float(rng.uniform(low, high))


def _subset(scenario: Scenario, rng: np.random.Generator) -> ChannelsSpec:
    """Return the channels that this bench has: as drawn in half of all cases, else fewer."""
    channels = scenario.channels
    kind = rng.choice(["drawn", "no_flame", "mass", "mass_flame", "water"], p=[0.5, 0.22, 0.1, 0.08, 0.1])
    if kind == "no_flame":
        return replace(channels, flame=None)
    if kind == "mass":
        return replace(channels, water=None, flame=None)
    if kind == "mass_flame":
        return replace(channels, water=None)
    if kind == "water" and channels.water is not None:
        return replace(channels, flame=None, mass=None)
    return channels


def _with_rates(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    channels = scenario.channels
    if channels.mass is not None and chance(rng, 0.3):
        hz = float(rng.choice((1.0, 2.0, 40.0, 80.0)))
        base = max(hz, 10.0)
        channels = replace(channels, mass=replace(channels.mass, rate_hz=base, every=round(base / hz)))
    if chance(rng, 0.2):
        hz = float(rng.choice((1.0, 2.0, 10.0, 20.0)))
        if channels.water is not None:
            channels = replace(channels, water=replace(channels.water, rate_hz=hz))
        if channels.flame is not None:
            channels = replace(channels, flame=replace(channels.flame, rate_hz=hz))
    return replace(scenario, channels=channels)


def _with_sensor_faults(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    channels, end_s = scenario.channels, scenario.duration_s
    if channels.water is not None and chance(rng, 0.12):
        kind = rng.choice(["open", "short", "out"])
        fault = _fault(str(kind), end_s, rng, 5.0, 60.0)
        channels = replace(channels, water=replace(channels.water, faults=(fault,)))
    if channels.flame is not None and chance(rng, 0.12):
        fault = _fault(str(rng.choice(["open", "short"])), end_s, rng, 5.0, 90.0)
        channels = replace(channels, flame=replace(channels.flame, faults=(fault,)))
    if channels.mass is not None:
        channels = replace(channels, mass=_with_mass_faults(channels.mass, end_s, rng))
    gaps = scenario.gap
    if not gaps and chance(rng, 0.2):
        starts = [between(rng, 30.0, end_s - 60.0) for _ in range(int(rng.integers(1, 4)))]
        gaps = tuple(GapSpec(start, start + between(rng, 2.0, 40.0)) for start in sorted(starts))
    place: PlaceSpec = scenario.place
    if chance(rng, 0.12):
        place = replace(place, wind_m_s=between(rng, 0.8, 2.2), gustiness=between(rng, 0.25, 0.5))
    return replace(scenario, channels=channels, gap=gaps, place=place)


def _fault(kind: str, end_s: float, rng: np.random.Generator, least_s: float, most_s: float) -> FaultSpec:
    from_s = between(rng, 60.0, end_s - 120.0)
    to_s = from_s + between(rng, least_s, most_s)
    if kind == "open":
        return FaultSpec("open", from_s, to_s)
    return FaultSpec("short" if kind == "short" else "out", from_s, to_s)


def _with_mass_faults(mass: BalanceSpec, end_s: float, rng: np.random.Generator) -> BalanceSpec:
    if chance(rng, 0.12):
        starts = sorted(between(rng, 30.0, end_s - 60.0) for _ in range(int(rng.integers(1, 4))))
        mass = replace(mass, stuck=tuple((start, start + between(rng, 3.0, 25.0)) for start in starts))
    if chance(rng, 0.12):
        mass = replace(mass, spikes_per_h=between(rng, 10.0, 40.0))
    if chance(rng, 0.12):
        # Zero of a beam cell: 0.05 % of 5 kg per 10 K (typical data sheet) is 0.25 g/K; half of all are better.
        mass = replace(mass, drift_g_k=float(rng.choice((-1.0, 1.0))) * between(rng, 0.25, 0.5))
    return mass


def _with_habits(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    pot, burn, plan = scenario.pot, scenario.burn, scenario.plan
    if pot is not None and len(pot.visits) == 1 and chance(rng, 0.08):
        early = replace(pot.visits[0], on_s=max(5.0, burn.lit_s - between(rng, 10.0, 30.0)))
        pot = replace(pot, visits=(early,))
    if chance(rng, 0.02):
        burn = replace(burn, lit_s=NEVER_LIT_S, smother_s=None, relit_s=None)
        return replace(scenario, burn=burn, pot=pot, refuel=(), duration_s=1200.0, gap=())
    if burn.smother_s is None and chance(rng, 0.12):
        burn = replace(burn, snuffed_after_s=between(rng, 5.0, 120.0))
        plan = replace(plan, weighs_char=True)
    return replace(scenario, burn=burn, pot=pot, plan=plan)


def _with_hands(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    if scenario.channels.mass is None or not chance(rng, 0.25):
        return scenario
    busy = [refuel.t_s for refuel in scenario.refuel] + [hand.t_s for hand in scenario.hand]
    busy += [t_s for visit in (scenario.pot.visits if scenario.pot else ()) for t_s in (visit.on_s, visit.off_s) if t_s]
    hands = list(scenario.hand)
    kinds = ["poke", "bump", "lean", "tool_on"]
    for _ in range(int(rng.integers(1, 4))):
        t_s, until_s = between(rng, 30.0, scenario.duration_s - 300.0), between(rng, 40.0, 200.0)
        kind = str(rng.choice(kinds))
        ends_s = t_s + until_s if kind == "tool_on" else t_s
        if any(t_s - HANDS_APART_S < other < ends_s + HANDS_APART_S for other in busy):
            continue
        busy += [t_s, ends_s]
        if kind == "poke":
            hands.append(HandSpec("poke", t_s, size_g=-between(rng, 0.0, 2.0), for_s=between(rng, 2.0, 8.0)))
        elif kind == "bump":
            hands.append(HandSpec("bump", t_s))
        elif kind == "lean":
            hands.append(HandSpec("lean", t_s, size_g=between(rng, -8.0, 8.0), for_s=between(rng, 5.0, 40.0)))
        else:
            kinds.remove("tool_on")
            size_g = between(rng, 20.0, 150.0)
            hands += [HandSpec("tool_on", t_s, size_g), HandSpec("tool_off", ends_s, size_g)]
    return replace(scenario, hand=tuple(sorted(hands, key=lambda hand: hand.t_s)))
