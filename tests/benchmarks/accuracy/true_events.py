"""The true events of a recording, and which of them its readings can tell of."""

from collections.abc import Iterator

import numpy as np

from benchmarks.accuracy.boils import boils_of
from benchmarks.accuracy.scoring import Expected
from emberline_sim.recording import Recording
from emberline_sim.scenario import Scenario

KNOCK_G = 2.5
"""A load smaller than this may be found or not."""
BOILING_K = 1.0
RELIGHT_S = 600.0
NEAR_S = 20.0
ASTRAY_K = 8.0
"""A probe that is so far off is broken, or out of the water."""
BEGINS_S = 3.0
SETTLES_S = 5.0
"""A load that changes sooner before the record's end leaves no reading to weigh it by."""
ENDS_S = 60.0
"""A record that ends sooner after a flameout or a boil may leave it open."""


def expected_of(recording: Recording) -> tuple[Expected, ...]:
    """Return the events of a recording, marked where its readings hardly tell of them."""
    truth, channels = recording.truth, set(recording.channels)
    ends_s = [float(channel.t_s[-1]) for channel in recording.channels.values() if len(channel.t_s)]
    end_s = max(ends_s, default=0.0)
    events = [*_boils(recording, end_s)]
    for event in truth.events:
        if event.kind == "boil":
            continue
        seen = _seen_by(event.kind, channels)
        if event.kind == "step":
            seen = seen and event.size_g is not None and abs(event.size_g) >= KNOCK_G
        # What stood before the record began cannot be dated, and what comes at its end can hardly be told yet.
        late = event.t_s < BEGINS_S or event.t_s > end_s - (ENDS_S if event.kind == "flameout" else SETTLES_S)
        where = _where_it_died(recording) if event.kind == "flameout" else ""
        events.append(Expected(event.kind, event.t_s, event.size_g, not seen or late, where))
    events += _leaning(recording.scenario)
    # A fire that came back within ten minutes never went out; after a longer pause, either reading is right.
    events += [Expected("flameout", from_s, optional=True) for from_s, to_s in truth.dark if to_s - from_s > RELIGHT_S]
    return tuple(sorted(events, key=lambda event: event.t_s))


def _boils(recording: Recording, end_s: float) -> Iterator[Expected]:
    """Yield the boils, optional where no working probe hung in the water or the record just began or soon ended."""
    for _, boil in boils_of(recording):
        told = boil.sure and _probe_works(recording, boil.t_s) and BEGINS_S <= boil.t_s <= end_s - ENDS_S
        yield Expected("boil", boil.t_s, optional=not told)


def _probe_works(recording: Recording, t_s: float) -> bool:
    """Tell whether the water probe shows about the water's temperature around a time."""
    probe, curves = recording.channels.get("water"), recording.truth.curves
    if probe is None:
        return False
    near = np.abs(probe.t_s - t_s) < NEAR_S
    true_c = np.interp(probe.t_s[near], curves.t_s, curves.water_c)
    # A fault is a NaN, which is near nothing.
    return bool(near.any()) and float(np.mean(np.abs(probe.value[near] - true_c) < ASTRAY_K)) > 0.5


def _seen_by(kind: str, channels: set[str]) -> bool:
    """Tell whether a bench with these channels can see this kind of event."""
    match kind:
        case "lit" | "flameout":
            return bool({"mass", "flame"} & channels)
        case "pot_on" | "pot_off":
            return bool({"mass", "pot_mass"} & channels)
    return "mass" in channels


def _leaning(scenario: Scenario) -> Iterator[Expected]:
    """Yield the beginnings and ends of what leans on the load: a step each, if one likes."""
    for hand in scenario.hand:
        if hand.kind == "lean":
            yield Expected("step", hand.t_s, hand.size_g, optional=True)
            yield Expected("step", hand.t_s + hand.for_s, -hand.size_g, optional=True)


def _where_it_died(recording: Recording) -> str:
    """Return the circumstances of the flameout that have a bar of their own."""
    if "flame" in recording.channels:
        return "probe"
    truth = recording.truth
    out_s = truth.events[-1].t_s if not truth.of_kind("flameout") else truth.of_kind("flameout")[-1].t_s
    stood = [stay for stay in truth.stays if stay.pot_on_s <= out_s and (stay.pot_off_s or np.inf) > out_s]
    if not stood or (recording.scenario.pot is not None and recording.scenario.pot.stands != "stove"):
        return "pot off"
    curves = truth.curves
    water_c = float(np.interp(out_s - ENDS_S, curves.t_s, curves.water_c))
    return "pot boiling" if water_c > truth.boiling_point_c - BOILING_K else "pot below boiling"


def dips_of(recording: Recording) -> Iterator[tuple[float, float]]:
    """Yield, for each refuel, when it began to smother the flame and half a minute after half of its power was back."""
    curves = recording.truth.curves
    for refuel in recording.truth.of_kind("refuel"):
        t_s = refuel.t_s
        near = (curves.t_s > t_s - 40.0) & (curves.t_s < t_s - 5.0)
        if not near.any():
            continue
        before_w = float(np.mean(curves.flame_power_w[near]))
        low = (curves.t_s > t_s) & (curves.t_s < t_s + 120.0) & (curves.flame_power_w < 0.5 * before_w)
        yield t_s - 5.0, (float(curves.t_s[low][-1]) if low.any() else t_s) + 30.0


def traits_of(recording: Recording) -> set[str]:
    """Return what the bench and the person made known, in words that tables choose by."""
    scenario, truth, channels = recording.scenario, recording.truth, recording.channels
    traits = {f"has {role}" for role in channels}
    if truth.stays:
        traits.add("pot")
        off_s = truth.stays[-1].pot_off_s
        # Whoever ends the record as the pot is lifted has no reading without it.
        end_s = max(
            (float(channel.t_s[-1]) for channel in recording.channels.values() if len(channel.t_s)), default=0.0
        )
        traits.add("never lifted" if off_s is None or off_s > end_s - SETTLES_S else "lifted")
        weighed = scenario.plan.weighs_water or scenario.plan.weighs_char or "pot_mass" in channels
        traits.add("weighed" if weighed else "nothing weighed")
    return traits
