"""Alarms of a burn on both simulators: raised in time where something goes wrong, never where nothing does."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import pytest

from emberline.bench.alarm_rules import AlarmRules
from emberline.bench.bench_file import default_bench
from emberline.bench.channels import Role
from emberline.bench.plan import parse_plan
from emberline.bench.samples import SampleBatch
from emberline.curves.events import EventKind
from emberline.trials.alarms import Alarm, AlarmKind
from emberline.trials.live import LiveTrial
from emberline_sim.family import FAMILIES, random_scenario
from emberline_sim.files import plan_text
from emberline_sim.particles import KINDS, Mishaps, random_burn
from emberline_sim.recording import ChannelRecord, Recording, record
from emberline_sim.scenario import load_scenario
from emberline_sim.trial_specs import HandSpec, VisitSpec

COMMIT_S = 10
SEED = 300
SHOWN_S = 1_200
"""Length of an ordinary burn that is looked at: lighting, pot on, boil, pot off, refuels, and most flameouts."""
ORDINARY = [kind for kind, what in KINDS.items() if not what.spoilt]
CAPACITY_G = 5_000.0
USUAL = AlarmRules()


def alarms_of(
    burn: Recording,
    until_s: float = np.inf,
    plan: str | None = None,
    commit_s: int = COMMIT_S,
    rules: AlarmRules = USUAL,
) -> list[Alarm]:
    """Follow a burn as a live run does; return every alarm in its last form, in the order in which they were raised."""
    return list(followed(burn, until_s, plan, commit_s, rules)[0].values())


def followed(
    burn: Recording, until_s: float, plan: str | None, commit_s: int, rules: AlarmRules
) -> tuple[dict[tuple[AlarmKind, float], Alarm], LiveTrial]:
    """Follow a burn; return its alarms by kind and moment, and what the live run came to."""
    roles = {Role(name): channel for name, channel in burn.channels.items() if len(channel.t_s)}
    channels = {channel.role: channel for channel in default_bench(roles).channels}
    if Role.MASS in channels:
        channels[Role.MASS] = replace(channels[Role.MASS], capacity_g=CAPACITY_G)
    live = LiveTrial(channels, parse_plan(plan_text(burn) if plan is None else plan), 0, rules=rules)
    found: dict[tuple[AlarmKind, float], Alarm] = {}
    for batches in _commits(roles, min(until_s, max(float(one.t_s[-1]) for one in roles.values())), commit_s):
        live.take(batches)
        found |= {(alarm.kind, alarm.raised_s): alarm for alarm in live.alarms}
    return found, live


def _commits(roles: Mapping[Role, ChannelRecord], end_s: float, commit_s: int) -> Iterator[list[SampleBatch]]:
    at = dict.fromkeys(roles, 0)
    for second in range(commit_s, int(end_s) + commit_s + 1, commit_s):
        batches = []
        for role, channel in roles.items():
            low, high = at[role], int(np.searchsorted(channel.t_s, float(second)))
            at[role] = high
            t_ns = np.rint(channel.t_s[low:high] * 1e9).astype(np.int64)
            value = channel.value[low:high]
            batches.append(SampleBatch("dev", 1, role.value, low, t_ns, value, np.zeros(high - low, dtype=np.uint8)))
        yield [batch for batch in batches if len(batch)]


# Where something goes wrong


@pytest.mark.parametrize("tips_s", [150.0, 420.0, 900.0], ids=["before the pot", "with the pot", "after the pot"])
@pytest.mark.parametrize("planned", [True, False])
def test_a_stove_that_tips_over_is_told_within_fifteen_seconds(tips_s: float, planned: bool) -> None:
    scenario = load_scenario("pellets_pot_lifted")
    tipped = replace(scenario, duration_s=tips_s + 60.0, hand=(*scenario.hand, HandSpec("tip", tips_s)))
    (alarm,) = alarms_of(record(tipped), plan=None if planned else "")
    assert alarm.kind is AlarmKind.LOAD_GONE
    assert tips_s < alarm.raised_s <= tips_s + 15.0
    assert alarm.cleared_s is None


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_stove_of_the_second_simulator_that_tips_over_is_told_as_soon(seed: int) -> None:
    burn = random_burn(seed, "lifted", Mishaps(tips_s=400.0))
    (alarm,) = [one for one in alarms_of(burn, 460.0) if one.kind is AlarmKind.LOAD_GONE]
    assert 400.0 < alarm.raised_s <= 415.0


def test_a_probe_that_slips_out_is_told_within_a_minute_and_cleared_when_it_is_put_back() -> None:
    (alarm,) = alarms_of(record(load_scenario("probe_falls_out")), 700.0)
    assert alarm.kind is AlarmKind.PROBE_OUT
    # From the scenario: out at 420 s, back at 532 s.
    assert 420.0 < alarm.raised_s <= 480.0
    assert alarm.cleared_s is not None
    assert 532.0 < alarm.cleared_s <= 572.0


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_probe_of_the_second_simulator_that_slips_out_is_told_as_soon(seed: int) -> None:
    burn = random_burn(seed, "kept", Mishaps(probe_out_s=(500.0, 620.0)))
    (alarm,) = alarms_of(burn, 760.0)
    assert alarm.kind is AlarmKind.PROBE_OUT
    assert 500.0 < alarm.raised_s <= 560.0
    assert alarm.cleared_s is not None
    assert 620.0 < alarm.cleared_s <= 660.0


def left_g(burn: Recording, t_s: float) -> float:
    return float(np.interp(t_s, burn.truth.curves.t_s, burn.truth.curves.water_g))


def test_a_pot_that_boils_dry_is_told_while_some_water_is_left() -> None:
    scenario = load_scenario("pot_never_lifted")
    assert scenario.pot is not None
    little = replace(scenario.pot, visits=(VisitSpec(170.0, water_g=180.0),))
    burn = record(replace(scenario, pot=little, duration_s=1_300.0))
    (alarm,) = alarms_of(burn)
    assert alarm.kind is AlarmKind.POT_NEARLY_DRY
    # Raised where the account says 50 g: the truth within a few of them.
    assert 20.0 < left_g(burn, alarm.raised_s) < 80.0
    assert alarm.cleared_s is None


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_pot_of_the_second_simulator_that_boils_dry_is_told_while_some_water_is_left(seed: int) -> None:
    burn = random_burn(seed, "kept", Mishaps(water_g=180.0))
    assert left_g(burn, float(burn.truth.curves.t_s[-1])) < 40.0
    (alarm,) = [one for one in alarms_of(burn) if one.kind is AlarmKind.POT_NEARLY_DRY]
    assert 5.0 < left_g(burn, alarm.raised_s) < 100.0


@pytest.mark.parametrize("simulator", ["layers", "particles"])
def test_a_flame_that_burns_longer_than_allowed_is_told_until_it_is_out(simulator: str) -> None:
    burn: Recording = record(load_scenario("pellets_pot_lifted")) if simulator == "layers" else random_burn(1, "lifted")
    lit_s, out_s = (
        next(event.t_s for event in burn.truth.events if event.kind == kind) for kind in ("lit", "flameout")
    )
    allowed_s = 0.5 * (out_s - lit_s)
    alarms, live = followed(burn, np.inf, None, COMMIT_S, AlarmRules(flame_longest_s=allowed_s))
    (alarm,) = [one for one in alarms.values() if one.kind is AlarmKind.FLAME_LONG]
    # Lit is dated to some ten seconds.
    assert alarm.raised_s == pytest.approx(lit_s + allowed_s, abs=40.0)
    # It ends with the announcement of flameout, whose own accuracy is tried elsewhere.
    (announced,) = [event.announced_t_s for event in live.tracked.announced if event.kind is EventKind.FLAMEOUT]
    assert alarm.cleared_s == announced


def test_a_load_cell_that_gets_warm_is_told_and_cleared_by_the_benchs_own_limit() -> None:
    burn = record(load_scenario("damp_and_drifting"))
    warm = burn.channels["cell_temperature"]
    hottest_c = float(np.max(warm.value))
    limit_c = hottest_c - 3.0
    raised = [
        one for one in alarms_of(burn, rules=AlarmRules(cell_hottest_c=limit_c)) if one.kind is AlarmKind.CELL_HOT
    ]
    assert len(raised) == 1
    passed_s = float(warm.t_s[np.argmax(warm.value > limit_c)])
    assert passed_s <= raised[0].raised_s <= passed_s + 60.0
    assert [one for one in alarms_of(burn) if one.kind is AlarmKind.CELL_HOT] == []


def test_the_same_readings_raise_and_clear_the_same_alarms_however_they_were_committed() -> None:
    burn = record(load_scenario("probe_falls_out"))
    once = alarms_of(burn, 700.0)
    assert once
    assert alarms_of(burn, 700.0, commit_s=1) == once
    assert alarms_of(burn, 700.0, commit_s=700) == [one for one in once if one is once[-1]]


# Where nothing does


@pytest.mark.timeout(180)
@pytest.mark.parametrize("simulator", ["layers", "particles"])
@pytest.mark.parametrize("index", range(20))
def test_in_forty_ordinary_burns_no_alarm_is_raised(simulator: str, index: int) -> None:
    seed = SEED + index
    if simulator == "layers":
        burn: Recording = record(random_scenario(seed, list(FAMILIES)[index % len(FAMILIES)]))
    else:
        burn = random_burn(seed, ORDINARY[index % len(ORDINARY)])
    raised = alarms_of(burn, SHOWN_S)
    # A pot that is kept on the fire may truly boil dry.
    dry = [one for one in raised if one.kind is AlarmKind.POT_NEARLY_DRY and left_g(burn, one.raised_s) < 80.0]
    assert [one for one in raised if one not in dry] == []
