"""Looks at records that a test makes up second by second."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np
from uncertainties import ufloat

from column_fixture import column
from emberline.bench.channels import Channel, Role, default_channel
from emberline.bench.plan import Plan, empty_plan, parse_plan
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Grid
from emberline.curves.loads import Loads, Stay
from emberline.curves.mass_steps import MassStep
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.look import Look
from emberline.trials.estimates import PotWater

CHANNELS = {role: default_channel(role) for role in (Role.WATER, Role.MASS)}
PLAN = parse_plan("[fuel]\nmass_g = 300.0\n[pot]\ntare_g = 400.0\nwater_g = 500.0\n")
BARE = parse_plan("[fuel]\nmass_g = 300.0\n")


def step(at_s: int, size_g: float) -> MassStep:
    return MassStep(at_s - 2, at_s, ufloat(size_g, 0.5), abs(size_g), ufloat(at_s - 1.0, 0.3))


def laid(at_s: int, size_g: float, kind: EventKind = EventKind.STEP) -> Event:
    return Event(kind, float(at_s), 1.0, "made up", ufloat(size_g, 0.5))


def water(lost_g: float, filled_g: float | None = 500.0, u_g: float = 10.0) -> PotWater:
    return PotWater(ufloat(lost_g, u_g), None if filled_g is None else ufloat(filled_g, 0.5))


def pot(on_s: int | None = 100, off_s: int | None = None, size_g: float = 900.0) -> tuple[Stay, ...]:
    """Return one stay of a pot of this weight, set on at one moment and lifted at another."""
    on = None if on_s is None else step(on_s, size_g)
    return (Stay(on, None if off_s is None else step(off_s, -size_g)),)


def look(
    curves: Mapping[Role, list[float]],
    *,
    plan: Plan | None = None,
    channels: Mapping[Role, Channel] = CHANNELS,
    burns: bool = True,
    stays: tuple[Stay, ...] = (),
    events: tuple[Event, ...] = (),
    left: PotWater | None = None,
    beyond: Mapping[Role, float] | None = None,
    flame_s: float | None = None,
) -> Look:
    """Return a look at the end of these curves."""
    n = max(len(values) for values in curves.values())
    steps = tuple(one for stay in stays for one in (stay.on, stay.off) if one is not None)
    steps += tuple(step(int(event.t_s), event.size_g.nominal_value) for event in events if event.size_g is not None)
    return Look(
        Grid(n, {role: column(values) for role, values in curves.items()}),
        channels,
        empty_plan() if plan is None else plan,
        burns,
        Loads(events, (), (), steps),
        stays,
        ufloat(99.0, 0.3),
        left,
        beyond or {},
        flame_s,
    )


def looks(whole: Look, known: Callable[[int], Look] | None = None) -> Iterator[Look]:
    """Yield a look at each second of a record, as far as it goes by then; steps of the load are known 8 s later."""
    for second in range(1, whole.second + 1):
        now = whole if known is None else known(second)
        late = second - 8
        stays = tuple(
            Stay(stay.on, stay.off if stay.off is not None and stay.off.end_s <= late else None)
            for stay in now.stays
            if stay.on is None or stay.on.end_s <= late
        )
        events = tuple(event for event in now.loads.events if event.t_s <= late)
        steps = tuple(one for one in now.loads.steps if one.end_s <= late)
        loads = replace(now.loads, events=events, steps=steps)
        yield replace(now, grid=whole.grid.upto(second), stays=stays, loads=loads)


def verdicts(watch: object, whole: Look, known: Callable[[int], Look] | None = None) -> list[tuple[int, Verdict]]:
    """Return what a watch says, and when, from second to second; a verdict that repeats the one before is left out."""
    said: list[tuple[int, Verdict]] = []
    for one in looks(whole, known):
        verdict: Verdict = watch.look(one)  # type: ignore[attr-defined]
        if verdict is not None and (not said or type(verdict) is not type(said[-1][1])):
            said.append((one.second, verdict))
    return said


def dangers(said: list[tuple[int, Verdict]]) -> list[int]:
    return [second for second, verdict in said if isinstance(verdict, Danger)]


def all_clear(said: list[tuple[int, Verdict]], after_s: int) -> int | None:
    return next((second for second, verdict in said if isinstance(verdict, Safe) and second > after_s), None)


def level(*parts: tuple[int, float], noise_g: float = 0.3, loss_g_s: float = 0.1, seed: int = 5) -> list[float]:
    """Return a load that stands at these levels for so long, less what burns, with noise."""
    rng = np.random.default_rng(seed)
    flat = np.concatenate([np.full(seconds, value) for seconds, value in parts])
    return list(map(float, flat - loss_g_s * np.arange(len(flat)) + rng.normal(0.0, noise_g, len(flat))))
