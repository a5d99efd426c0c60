"""What a live run says, second by second, on burns of which everything is known."""

import pickle
from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import ufloat

from column_fixture import column
from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import empty_plan
from emberline.bench.samples import Curve
from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.curves.grid import Grid, grid_of
from emberline.trials.tracker import Tracker, known_beforehand, track
from stove_fixture import Stove

Array = NDArray[np.float64]
CHANNELS = {role: default_channel(role) for role in Role}
QUIET_S = 30


@dataclass(frozen=True, kw_only=True, eq=False)
class Dipped(Stove):
    """A burn whose flame is smothered for a while, with or without fuel laid on it.

    Attributes:
        dip_s: When.
        dip_for_s: For how long.
        added_g: Fuel laid on.
    """

    n: int = 1300
    pot_on_s: float | None = None
    dip_s: float = 500.0
    dip_for_s: float = 60.0
    added_g: float = 60.0

    @property
    def sunk(self) -> Array:
        """Share of the undisturbed rate."""
        moments = [self.dip_s, self.dip_s + 5.0, self.dip_s + self.dip_for_s, self.dip_s + self.dip_for_s + 30.0]
        return np.interp(self.t_s, moments, [1.0, 0.06, 0.06, 1.0])

    @cached_property
    def fuel_rate_g_s(self) -> Array:
        return super().fuel_rate_g_s * self.sunk

    @property
    def load_g(self) -> Array:
        return np.asarray(super().load_g + np.where(self.t_s > self.dip_s, self.added_g, 0.0))

    def curves(self) -> dict[Role, Curve]:
        curves = super().curves()
        flame = curves[Role.FLAME]
        sunk = np.interp(flame.t_s, self.t_s, self.sunk)
        value = np.where(flame.t_s < self.flameout_s, 330.0 + (flame.value - 330.0) * sunk, flame.value)
        value = np.where(flame.t_s < self.lit_s, flame.value, value)
        return {**curves, Role.FLAME: Curve(flame.t_s, value)}


class SteamsOn(Dipped):
    """The same with a pot that steams on for as long as it stands over the sunken fire."""

    @property
    def load_g(self) -> Array:
        assert self.pot_off_s is not None
        return np.asarray(super().load_g - 0.12 * np.clip(self.t_s, self.dip_s, self.pot_off_s))


@dataclass(frozen=True, eq=False)
class Said:
    """What was said, and when."""

    stove: Stove
    sayings: tuple[tuple[int, Event | Retraction], ...]
    phases: tuple[Phase, ...]

    def announced(self, kind: EventKind) -> list[Event]:
        return [said for _, said in self.sayings if isinstance(said, Event) and said.kind is kind]

    @property
    def retracted(self) -> list[Retraction]:
        return [said for _, said in self.sayings if isinstance(said, Retraction)]


def listen(stove: Stove, seconds: int | None = None) -> Said:
    grid = grid_of(stove.curves())
    tracker = Tracker(CHANNELS, stove.plan())
    sayings: list[tuple[int, Event | Retraction]] = []
    phases = []
    for second in range(1, (seconds or grid.n) + 1):
        sayings += [(second, said) for said in tracker.look(grid.upto(second))]
        phases.append(tracker.phase)
    return Said(stove, tuple(sayings), tuple(phases))


@cache
def usual() -> Said:
    return listen(Stove(n=1250))


@cache
def refuelled() -> Said:
    return listen(Dipped())


@cache
def relit() -> Said:
    return listen(Dipped(added_g=0.0, dip_for_s=200.0))


def test_everything_is_announced_soon() -> None:
    said = usual()
    within_s = {
        EventKind.LIT: 60.0,
        EventKind.POT_ON: 30.0,
        EventKind.BOIL: 45.0,
        EventKind.POT_OFF: 30.0,
        EventKind.FLAMEOUT: 150.0,
    }
    true_s = {
        EventKind.LIT: said.stove.lit_s,
        EventKind.POT_ON: said.stove.pot_on_s,
        EventKind.BOIL: said.stove.boil_s,
        EventKind.POT_OFF: said.stove.pot_off_s,
        EventKind.FLAMEOUT: said.stove.flameout_s,
    }
    for kind, limit_s in within_s.items():
        event = said.announced(kind)[-1]
        happened_s = true_s[kind]
        assert event.announced_t_s is not None
        assert happened_s is not None
        assert happened_s < event.announced_t_s < happened_s + limit_s, kind
        assert abs(event.t_s - happened_s) < 20.0, kind


def test_nothing_is_taken_back_on_a_plain_burn() -> None:
    assert usual().retracted == []


def test_what_is_said_carries_its_second() -> None:
    for second, said in usual().sayings + relit().sayings:
        told_s = (said.revised_t_s or said.announced_t_s) if isinstance(said, Event) else said.retracted_t_s
        assert second == told_s


def test_a_live_run_knows_the_past_alone() -> None:
    said = usual()
    shorter = listen(Stove(n=620))
    # The noise of a shorter record is the same up to its end.
    assert len(shorter.stove.curves()[Role.MASS].t_s) == 620 * 4
    cut = Tracker(CHANNELS, said.stove.plan())
    grid = grid_of(said.stove.curves()).upto(620)
    sayings = [(second, what) for second in range(1, 621) for what in cut.look(grid.upto(second))]
    expected = [(second, what) for second, what in said.sayings if second <= 620]
    assert [(s, type(w), w.kind) for s, w in sayings] == [(s, type(w), w.kind) for s, w in expected]
    assert [w.t_s for _, w in sayings if isinstance(w, Event)] == [w.t_s for _, w in expected if isinstance(w, Event)]


def test_a_replay_says_the_same() -> None:
    stove = Stove(n=600)
    grid = grid_of(stove.curves())
    one, other = (track(grid, CHANNELS, stove.plan()) for _ in range(2))
    assert [(e.kind, e.t_s, e.u_s, e.announced_t_s, e.evidence) for e in one.announced] == [
        (e.kind, e.t_s, e.u_s, e.announced_t_s, e.evidence) for e in other.announced
    ]
    assert one.retracted == other.retracted


def test_phases_go_on_with_what_is_announced() -> None:
    said = usual()
    order = list(dict.fromkeys(said.phases))
    assert order == [Phase.WAITING, Phase.FLAMING, Phase.CHAR]
    (lit,) = said.announced(EventKind.LIT)
    assert said.phases.index(Phase.FLAMING) + 1 == lit.announced_t_s


def test_no_flameout_is_announced_in_a_refuel_dip() -> None:
    said = refuelled()
    assert len(said.announced(EventKind.REFUEL)) == 1
    (flameout,) = said.announced(EventKind.FLAMEOUT)
    assert abs(flameout.t_s - said.stove.flameout_s) < 20.0
    assert said.retracted == []


def test_no_flameout_is_announced_in_a_refuel_dip_without_a_flame_probe() -> None:
    stove = Dipped()
    curves = stove.curves()
    del curves[Role.FLAME]
    tracked = track(grid_of(curves), CHANNELS, stove.plan())
    assert [event.kind for event in tracked.announced] == [EventKind.LIT, EventKind.REFUEL, EventKind.FLAMEOUT]
    assert tracked.retracted == []
    assert not tracked.announced[-1].confirmed


def test_a_fire_that_burns_again_takes_its_flameout_back() -> None:
    said = relit()
    first, second = said.announced(EventKind.FLAMEOUT)
    assert abs(first.t_s - 500.0) < 20.0
    (back,) = said.retracted
    assert back.kind is EventKind.FLAMEOUT
    assert back.announced_t_s == first.announced_t_s
    assert 700.0 < back.retracted_t_s < 850.0
    assert back.why
    assert abs(second.t_s - said.stove.flameout_s) < 20.0
    assert said.phases[int(back.retracted_t_s)] is Phase.FLAMING


def test_a_fire_is_seen_to_burn_again_also_where_a_boiling_pot_was_lifted_meanwhile() -> None:
    lifted = SteamsOn(
        n=1150,
        flameout_s=1300.0,
        fuel_g=250.0,
        pot_on_s=200.0,
        pot_off_s=770.0,
        dip_s=700.0,
        dip_for_s=200.0,
        added_g=0.0,
    )
    said = listen(lifted)
    (first,) = said.announced(EventKind.FLAMEOUT)
    assert first.announced_t_s is not None
    assert first.announced_t_s < 770.0 + 10.0
    assert [back.kind for back in said.retracted] == [EventKind.FLAMEOUT]
    assert 900.0 < said.retracted[0].retracted_t_s < 1050.0


def test_a_tool_laid_on_glowing_char_for_minutes_is_never_told_as_fuel() -> None:
    class Tooled(Stove):
        @property
        def load_g(self) -> Array:
            lies = (self.t_s > 1_300.0) & (self.t_s < 1_540.0)
            return np.asarray(super().load_g + np.where(lies, 40.0, 0.0))

    said = listen(Tooled(n=1_640, pot_on_s=None))
    assert said.announced(EventKind.FLAMEOUT) != []
    assert said.announced(EventKind.REFUEL) == []
    assert [step.size_g.nominal_value > 0.0 for step in said.announced(EventKind.STEP) if step.size_g] == [True, False]
    assert said.retracted == []


def test_a_bench_with_one_probe_is_followed() -> None:
    t_s = np.arange(0.25, 600.0, 0.25)
    water = np.interp(t_s, [0, 400, 600], [18, 99.3, 99.3]) + np.random.default_rng(2).normal(0.0, 0.05, len(t_s))
    tracked = track(grid_of({Role.WATER: Curve(t_s, water)}), CHANNELS, Stove().plan())
    (boil,) = tracked.announced
    assert boil.kind is EventKind.BOIL
    assert abs(boil.t_s - 400.0) < 5.0
    assert boil.announced_t_s is not None
    assert 400.0 < boil.announced_t_s < 445.0


@pytest.mark.parametrize("values", [[np.nan], [900.0], [900.0, -8388.0, 8388.0, np.nan]])
def test_a_cell_that_says_nothing_of_use_is_followed_in_silence(values: list[float]) -> None:
    grid = Grid(200, {role: column((values * 200)[:200]) for role in (Role.MASS, Role.WATER, Role.FLAME)})
    tracked = track(grid, CHANNELS, empty_plan())
    assert [event for event in tracked.announced if event.kind is not EventKind.STEP] == []


def test_a_channel_that_appears_late_is_taken_in() -> None:
    stove = Stove(n=400, pot_on_s=None)
    grid = grid_of(stove.curves())
    tracker = Tracker(CHANNELS, stove.plan())
    for second in range(1, 401):
        columns = {role: c for role, c in grid.columns.items() if role is not Role.WATER or second > 250}
        tracker.look(Grid(grid.n, columns).upto(second))
    assert [event.kind for event in tracker.tracked.announced] == [EventKind.LIT]


def test_a_kept_tracker_goes_on_as_if_nothing_had_been() -> None:
    said = usual()
    grid = grid_of(said.stove.curves())
    tracker = Tracker(CHANNELS, said.stove.plan())
    sayings: list[tuple[int, Event | Retraction]] = []
    for second in range(1, grid.n + 1):
        sayings += [(second, one) for one in tracker.look(grid.upto(second))]
        if second in (230, 590, 1080):
            tracker = pickle.loads(pickle.dumps(tracker))  # noqa: S301 our own bytes
    assert [(s, type(one), one.kind) for s, one in sayings] == [(s, type(one), one.kind) for s, one in said.sayings]
    assert [one.t_s for _, one in sayings if isinstance(one, Event)] == [
        one.t_s for _, one in said.sayings if isinstance(one, Event)
    ]


def test_what_is_weighed_after_the_burn_is_not_known_in_it() -> None:
    afterwards = {"final_water_g": ufloat(300.0, 1.0), "final_water_delay_s": ufloat(60.0, 5.0)}
    plan = Stove().plan(**afterwards)
    plan = replace(plan, fuel=replace(plan.fuel, char_left_g=ufloat(40.0, 0.5), unburnt_g=ufloat(3.0, 0.1)))
    known = known_beforehand(plan)
    assert known.fuel.mass_g is plan.fuel.mass_g
    assert (known.fuel.char_left_g, known.fuel.unburnt_g, known.fuel.char_snuffed_s) == (None, None, None)
    assert known.pot is not None
    assert known.pot.tare_g is not None
    assert known.pot.visit(0).water_g is not None
    assert known.pot.visit(0).final_water_g is None
    assert known_beforehand(empty_plan()).pot is None


def test_a_record_that_began_mid_burn_is_flaming_and_has_its_flameout() -> None:
    stove = Stove(n=1000, pot_on_s=None, lit_s=-200.0, flameout_s=600.0)
    said = listen(stove)
    assert said.announced(EventKind.LIT) == []
    assert said.phases[120] is Phase.FLAMING
    (flameout,) = said.announced(EventKind.FLAMEOUT)
    assert abs(flameout.t_s - 600.0) < 20.0


def test_what_was_said_can_be_dated_without_changing_it() -> None:
    one = Event(EventKind.BOIL, 400.0, 1.0, "")
    assert replace(one, announced_t_s=412.0) == one.announced(412.0)
