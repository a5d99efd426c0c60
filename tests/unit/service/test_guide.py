"""Guided burns over a real store, with a simulated scale and nothing burnt but what a script says."""

import json
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest

from emberline.bench.bench_file import default_bench
from emberline.bench.channels import Role
from emberline.bench.inventory import Kind
from emberline.bench.plan import parse_plan
from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, EventKind
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.desk import By, Desk
from emberline.service.errors import RequestError
from emberline.service.guide import Guides
from emberline.service.health import Disk, HealthWatch
from emberline.service.intake import IngestCounts
from emberline.service.inventory import Inventory
from emberline.service.keeper import Ended, Keeper
from emberline.store.store import Store
from emberline.trials.comparison.run_order import run_order
from emberline.trials.comparison.series import Series, series_document
from emberline.trials.comparison.stop_rule import StopRule
from unit.service.test_keeper import Script, turn
from unit.store.made_up import NOON_NS, TENTH_NS
from unit.trials.guide.guided import LOT, POT
from unit.trials.guide.weighing_table import Table

LIT = Event(EventKind.LIT, 30.0, 2.0, "mass falls", announced_t_s=40.0)
OUT = Event(EventKind.FLAMEOUT, 60.0, 5.0, "rate falls", announced_t_s=70.0)


@dataclass
class Yard:
    """A bench whose scale is simulated."""

    store: Store
    table: Table = field(default_factory=lambda: Table(3))
    script: Script = field(default_factory=Script)
    due: list[Ended] = field(default_factory=list)
    stored: int = 0

    def __post_init__(self) -> None:
        self.clock = Clock(1.0, NOON_NS, 0.0, lambda: self.stored / 10.0)
        self.board = Board("yard", self.clock, IngestCounts(), fitted=default_bench([Role.MASS, Role.WATER]))
        self.keeper = Keeper(self.store, "yard", self.clock, self.board, "UTC", self.script, self.due.append)
        self.keeper.fit(default_bench([Role.MASS, Role.WATER]))
        self.health = HealthWatch(self.clock)
        self.again()
        self.table.wait(10.0)
        self.flow()

    def again(self) -> None:
        """Begin anew, as after a restart."""
        desk = Desk(self.store, self.clock, {"yard": self.keeper}, self.due.append)
        self.guides = Guides(self.store, {"yard": self}, desk, Inventory(self.store), self.health)

    def flow(self) -> None:
        """Store what the scale has shown meanwhile."""
        grams = np.array(self.table._g[self.stored :])
        t_ns = NOON_NS + (self.stored + np.arange(len(grams), dtype=np.int64)) * TENTH_NS
        batches = [
            SampleBatch("dev", 1, name, self.stored, t_ns, value, np.zeros(len(grams), np.uint8))
            for name, value in (("mass", grams), ("water", np.full(len(grams), 14.0)))
        ]
        self.stored += len(grams)
        receipt = self.store.commit("yard", batches)
        self.board.committed(receipt)
        self.keeper.nudge(int(t_ns[-1]))

    async def puts(self, mass_g: float) -> dict[str, Any]:
        self.table.put(mass_g)
        return await self.waits()

    async def waits(self) -> dict[str, Any]:
        self.table.until_steady()
        self.flow()
        return await self.guides.show("yard")

    async def asks(self, act: str, **more: Any) -> dict[str, Any]:
        return await self.guides.ask("yard", {"act": act, **more})


@pytest.fixture
async def yard(store: Store) -> Yard:
    return Yard(store)


async def armed(yard: Yard, series: str | None = None) -> str:
    """Weigh fuel and open the trial; return its id."""
    await yard.asks("begin", with_pot=False, label="run 1")
    for _ in ("empty", "known", "stove"):
        await yard.asks("skip")
    await yard.waits()
    await yard.puts(330.0)
    await yard.asks("take")
    await yard.asks("skip")
    await yard.asks("skip")
    screen = await yard.asks("open", series=series)
    assert screen["problems"] == {}
    return str(screen["trial"])


async def test_the_first_screen_shows_what_is_kept_and_writes_nothing(yard: Yard) -> None:
    await yard.guides._inventory.keep(Kind.POT, POT.text, new=True)
    screen = await yard.guides.show("yard")
    assert (screen["step"], screen["begin"]["entries"]["pot"]) == ("begin", [POT.name])
    assert screen["begin"]["last"] is None
    assert yard.store.guide("yard") == ""


async def test_what_stands_on_the_scale_is_what_is_stored(yard: Yard) -> None:
    await yard.asks("begin", with_pot=False)
    screen = await yard.guides.show("yard")
    empty_g = screen["reading"]["value"]
    screen = await yard.puts(500.0)
    assert screen["reading"]["value"] - empty_g == pytest.approx(500.0, abs=0.5)
    assert screen["reading"]["steady"]


async def test_a_burn_is_guided_to_its_trial_and_its_plan(yard: Yard) -> None:
    trial = await armed(yard)
    plan = parse_plan(yard.store.trial(trial).plan_text)
    assert plan.label == "run 1"
    assert plan.fuel.mass_g is not None
    assert plan.fuel.mass_g.n == pytest.approx(330.0, abs=2.0)


async def test_a_phase_that_no_reading_tells_any_more_is_not_known(yard: Yard) -> None:
    await armed(yard)
    assert (await yard.waits())["burn"]["phase"] == "waiting"
    # A minute goes by in which nothing is stored.
    yard.clock = yard.board.clock = Clock(1.0, NOON_NS, 0.0, lambda: yard.stored / 10.0 + 60.0)
    assert (await yard.guides.show("yard"))["burn"]["phase"] == "not known"


async def test_a_restart_loses_no_answer_and_not_what_was_just_put_on(yard: Yard) -> None:
    await yard.asks("begin", with_pot=False)
    for _ in ("empty", "known", "stove"):
        await yard.asks("skip")
    await yard.waits()
    yard.table.put(200.0)
    await yard.waits()
    yard.again()
    screen = await yard.puts(130.0)
    assert screen["step"] == "fuel"
    assert screen["offers"][0]["value"] == pytest.approx(330.0, abs=2.0)
    assert [one["how"] for one in screen["done"]][:3] == ["skipped"] * 3


async def test_what_stood_there_before_a_step_is_not_what_the_scale_was_cleared_to(yard: Yard) -> None:
    await yard.asks("begin", with_pot=False)
    await yard.asks("skip")
    await yard.asks("skip")
    await yard.puts(640.0)
    await yard.asks("take")
    await yard.waits()
    yard.again()
    screen = await yard.puts(330.0)
    assert [one["how"] for one in screen["offers"]] == ["added"]


async def test_a_refusal_is_shown_and_nothing_is_lost(yard: Yard) -> None:
    await yard.asks("begin", with_pot=False)
    await yard.asks("go", step="fuel")
    screen = await yard.asks("type", values={"fuel.mass_g": "0.33"})
    assert "kilograms" in screen["problems"]["fuel.mass_g"]
    assert screen["step"] == "fuel"


async def test_what_is_weighed_after_the_burn_enters_the_plan_as_a_correction(yard: Yard) -> None:
    trial = await armed(yard)
    yard.script.turns = [turn(LIT, OUT)]
    await yard.keeper.catch_up()
    screen = await yard.waits()
    assert screen["step"] == "snuff"
    await yard.asks("mark")
    screen = await yard.guides.show("yard")
    assert "Only" in screen["wait"]
    screen = await yard.asks("type", values={"fuel.char_left_g": "62.5 ± 1"})
    assert screen["problems"] == {}
    plan = parse_plan(yard.store.trial(trial).plan_text)
    assert plan.fuel.char_left_g is not None
    assert plan.fuel.char_left_g.n == 62.5
    assert plan.fuel.char_snuffed_s is not None
    assert [one.who for one in yard.store.corrections(trial)] == ["guided burn"] * 2


async def test_what_others_changed_in_the_plan_stays(yard: Yard) -> None:
    trial = await armed(yard)
    other = Desk(yard.store, yard.clock, {"yard": yard.keeper}, yard.due.append)
    await other.set_values(trial, {"fuel.moisture_wet": 0.12}, By("Ana", "measured it"))
    await yard.asks("go", step="char")
    await yard.asks("type", values={"fuel.char_left_g": "62.5"})
    plan = parse_plan(yard.store.trial(trial).plan_text)
    assert plan.fuel.moisture_wet is not None
    assert plan.fuel.char_left_g is not None


async def test_a_running_trial_with_a_plan_is_not_taken_over(yard: Yard) -> None:
    await yard.keeper.arm('label = "other"\n', None)
    await yard.asks("begin", with_pot=False)
    await yard.asks("go", step="ready")
    screen = await yard.asks("open")
    assert "has its plan" in screen["problems"][""]
    assert screen["step"] == "ready"


async def test_a_guided_burn_is_the_next_run_of_a_series_and_stays_it(yard: Yard) -> None:
    runs = tuple(run_order({"holes": ["8", "12"]}, 5, range))
    series = Series("holes-1", "time_to_boil", StopRule(burns=5), 1, runs)
    yard.store.plan_series("holes-1", json.dumps(series_document(series)))
    trial = await armed(yard, series="holes-1")
    plan = parse_plan(yard.store.trial(trial).plan_text)
    assert (plan.series, plan.run, dict(plan.factors)) == ("holes-1", 1, dict(runs[0].factors))
    # What is weighed after the burn leaves it as it is.
    await yard.asks("go", step="char")
    await yard.asks("type", values={"fuel.char_left_g": "41"})
    plan = parse_plan(yard.store.trial(trial).plan_text)
    assert plan.fuel.char_left_g is not None
    assert (plan.series, plan.run, dict(plan.factors)) == ("holes-1", 1, dict(runs[0].factors))


async def test_a_series_whose_runs_are_all_made_is_told(yard: Yard) -> None:
    series = Series("holes-1", "time_to_boil", StopRule(burns=5), 1, ())
    yard.store.plan_series("holes-1", json.dumps(series_document(series)))
    await yard.asks("begin", with_pot=False)
    await yard.asks("go", step="ready")
    screen = await yard.asks("open", series="holes-1")
    assert "all runs" in screen["problems"][""].lower()


async def test_the_guide_ends_its_trial_and_begins_anew(yard: Yard) -> None:
    trial = await armed(yard)
    screen = await yard.asks("end")
    assert yard.store.trial(trial).end_ns is not None
    screen = await yard.guides.show("yard")
    assert screen["step"] == "burn"
    screen = await yard.asks("anew")
    assert screen["step"] == "begin"
    assert screen["begin"]["last"]["label"] == "run 1"


async def test_the_same_as_last_time_begins_from_the_last_plan(yard: Yard) -> None:
    await yard.guides._inventory.keep(Kind.LOT, LOT.text, new=True)
    await armed(yard)
    await yard.asks("end")
    await yard.asks("anew")
    screen = await yard.asks("begin", as_last=True, with_pot=False, lot=LOT.name)
    await yard.asks("go", step="ready")
    screen = await yard.guides.show("yard")
    assert f'lot = "{LOT.name}"' in screen["ready"]["plan"]


async def test_an_answer_to_another_step_does_nothing(yard: Yard) -> None:
    await yard.asks("begin", with_pot=False)
    screen = await yard.asks("skip", at="known")
    assert (screen["step"], screen["problems"]) == ("empty", {})
    screen = await yard.asks("skip", at="empty")
    assert screen["step"] == "known"


async def test_an_unknown_bench_and_a_small_disk_are_told(yard: Yard) -> None:
    with pytest.raises(RequestError, match="no bench 'shed'"):
        await yard.guides.show("shed")
    yard.health.disk = Disk(0, 0, 10_000_000)
    assert any("10 MB" in one for one in (await yard.guides.show("yard"))["warnings"])


async def test_before_a_device_greets_there_is_a_screen(store: Store) -> None:
    yard = Yard(store)
    yard.board.fitted = None
    screen = await yard.guides.show("yard")
    assert not screen["begin"]["heard"]
