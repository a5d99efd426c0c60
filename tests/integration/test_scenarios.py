"""Every packaged scenario of the simulator through the whole analysis, against what truly happened in it.

The bars: every true event is found and none invented; the boil within 5 s and the flameout within 20 s in the final
pass; no flameout while the flame is smothered by fresh fuel, and none that stands in a stretch without flame from which
the fire came back; what was lost and how fast within three standard uncertainties.

Exempt, because no reading tells of them: a boil without a working probe in the water, and what a pot does on a bench
without a load cell. A knock that leaves less than 2.5 g behind may be found or not.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import parse_plan
from emberline.bench.samples import Curve
from emberline.curves.events import EventKind
from emberline.curves.grid import grid_of
from emberline.trials.analysis import Analysis, analyse
from emberline.trials.tracker import Tracked, track
from emberline_sim.files import plan_text
from emberline_sim.recording import Recording, TrueEvent, record
from emberline_sim.scenario import load_scenario, scenario_names

BOIL_S, FLAMEOUT_S = 5.0, 20.0
LIT_S, LOAD_S = 15.0, 10.0
"""Within which lighting and loads count as the ones that were; they have no bar of their own."""
KNOCK_G = 2.5
NO_PROBE = "no working probe in the water"


@dataclass(frozen=True, eq=False)
class Case:
    """A scenario and what became of it."""

    recording: Recording
    tracked: Tracked
    analysis: Analysis


@cache
def case(name: str) -> Case:
    """Record a scenario and analyse it, once for all tests."""
    recording = record(load_scenario(name))
    curves = {Role(role): Curve(channel.t_s, channel.value) for role, channel in recording.channels.items()}
    plan = parse_plan(plan_text(recording))
    tracked = track(grid_of(curves), {role: default_channel(role) for role in curves}, plan)
    return Case(recording, tracked, analyse(curves, {}, plan, tracked=tracked))


def within_s(kind: str, recording: Recording) -> float:
    """Return how far from the truth an event may be found."""
    match kind:
        case "boil":
            return BOIL_S
        case "flameout":
            return FLAMEOUT_S
        case "lit":
            return LIT_S
    # A load laid on in a gap of the record can be dated no better than the gap.
    return LOAD_S + max((gap.to_s - gap.from_s for gap in recording.scenario.gap), default=0.0)


def is_knock(event: TrueEvent) -> bool:
    """Tell whether an event leaves next to no load."""
    return event.kind == "step" and (event.size_g is None or abs(event.size_g) < KNOCK_G)


def is_unseen(event: TrueEvent, recording: Recording) -> bool:
    """Tell whether no reading of this bench tells of an event."""
    weighed = "mass" in recording.channels or "pot_mass" in recording.channels
    return NO_PROBE in event.note or (event.kind in ("pot_on", "pot_off") and not weighed)


def matched(case: Case, truths: Sequence[TrueEvent]) -> tuple[list[str], list[str]]:
    """Return what was missed, and what was found that is none of these."""
    found = [event for event in case.analysis.events if event.kind is not EventKind.NOTE]
    missed = []
    for truth in sorted(truths, key=is_knock):
        # A pot may stand before the record begins: then the first second is as good as any.
        near = [event for event in found if event.kind.value == truth.kind]
        near = [event for event in near if abs(event.t_s - truth.t_s) <= within_s(truth.kind, case.recording)]
        if near:
            found.remove(min(near, key=lambda event: abs(event.t_s - truth.t_s)))
        elif not is_knock(truth) and not is_unseen(truth, case.recording):
            missed.append(f"{truth.kind} at {truth.t_s:.1f} s")
    return missed, [f"{event.kind.value} at {event.t_s:.1f} s: {event.evidence}" for event in found]


@pytest.mark.parametrize("name", scenario_names())
def test_a_scenario_is_understood(name: str) -> None:
    one = case(name)
    truth = one.recording.truth
    missed, invented = matched(one, truth.events)
    wrong = [f"missed {text}" for text in missed] + [f"invented {text}" for text in invented]
    wrong += smothered(one) + departures(one)
    assert not wrong, "\n".join(wrong)


def smothered(one: Case) -> list[str]:
    """Return what the live run said of a flameout while the fire was to come back."""
    truth = one.recording.truth
    stands = [event for event in one.tracked.announced if event.kind is EventKind.FLAMEOUT]
    wrong = [
        f"a flameout at {event.t_s:.0f} s stands, though the fire came back at {to_s:.0f} s"
        for from_s, to_s in truth.dark
        for event in stands
        if from_s - FLAMEOUT_S <= event.t_s <= to_s
    ]
    said = [event.announced_t_s for event in stands]
    said += [back.announced_t_s for back in one.tracked.retracted if back.kind is EventKind.FLAMEOUT]
    for refuel in truth.of_kind("refuel"):
        until_s = recovery_s(one.recording, refuel.t_s) + 30.0
        wrong += [
            f"a flameout was announced at {moment:.0f} s, in the dip of the refuel at {refuel.t_s:.0f} s"
            for moment in said
            if moment is not None and refuel.t_s - 5.0 <= moment <= until_s
        ]
    return wrong


def recovery_s(recording: Recording, refuel_s: float) -> float:
    """Return when the flame has half of its power again that it had before fuel was laid on it."""
    curves = recording.truth.curves
    before = float(np.mean(curves.flame_power_w[(curves.t_s > refuel_s - 40.0) & (curves.t_s < refuel_s - 5.0)]))
    low = (curves.t_s > refuel_s) & (curves.t_s < refuel_s + 120.0) & (curves.flame_power_w < 0.5 * before)
    return float(curves.t_s[low][-1]) if low.any() else refuel_s


def departures(one: Case) -> list[str]:
    """Return the sums that are off by more than three standard uncertainties, or absent though they could be told."""
    truth, results = one.recording.truth, one.analysis.results
    sums = {
        "fuel_mass_lost": truth.fuel_mass_lost_g,
        "burning_rate_mean": truth.burning_rate_mean_g_min,
        "water_evaporated": truth.water_evaporated_g if truth.stays else None,
    }
    wrong = []
    for name, true in sums.items():
        if true is None or not {"mass", "pot_mass"} & set(one.recording.channels):
            assert name not in results.values
            continue
        if name not in results.values:
            wrong.append(f"{name} is absent: {results.absent[name]}")
            continue
        value = results.values[name].value
        if abs(value.nominal_value - true) > 3.0 * value.std_dev:
            wrong.append(f"{name} is {value}, in truth {true:.2f}")
    return wrong
