"""Corrections of running, ended and imported trials, with what happens in the curves made up."""

import asyncio
import json
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from emberline.bench.bench_file import default_bench
from emberline.bench.channels import Role
from emberline.bench.errors import PlanError
from emberline.bench.plan import parse_plan
from emberline.curves.events import Event, EventKind, Phase
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.desk import By, Desk, corrected_events, is_behind, labelled
from emberline.service.intake import IngestCounts
from emberline.service.keeper import Ended, Keeper
from emberline.store.errors import StoreFullError, UnknownTrialError
from emberline.store.records import StoredSummary
from emberline.store.store import Store
from emberline.trials.corrections import (
    BY_HAND_U_S,
    AddEvent,
    Correction,
    CorrectionError,
    DeleteEvent,
    EditPlan,
    Exclude,
    MoveEvent,
    Target,
    Undo,
)
from unit.service.test_keeper import LIT, OUT, Script, turn
from unit.store.made_up import NOON_NS, SECOND_NS, batch

ANA = By("Ana", "saw it")
BOIL = Event(EventKind.BOIL, 100.25, 2.0, "curve", announced_t_s=110.0)
PLAN = 'label = "chips"\n[fuel]\nmass_g = 310.0\n[pot]\ntare_g = 412.0\nwater_g = 500.0\n'


@dataclass
class Bench:
    """A bench with its desk; nothing is burnt but what a script says."""

    store: Store
    script: Script = field(default_factory=Script)
    due: list[Ended] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.clock = Clock(1.0, NOON_NS + 400 * SECOND_NS, 0.0, lambda: 0.0)
        board = Board("yard", self.clock, IngestCounts())
        self.store.commit("yard", [batch(0, 3000)])
        self.keeper = Keeper(self.store, "yard", self.clock, board, "UTC", self.script, self.due.append)
        self.desk = Desk(self.store, self.clock, {"yard": self.keeper}, self.due.append, self.works_on)

    def works_on(self, trial: str) -> bool:
        return any(ended.trial == trial for ended in self.due)

    async def stamp(self, kind: EventKind, by: By) -> Correction:
        """Set an event of the running trial now, as its live page does."""
        assert self.keeper.board.trial is not None
        t_s = (self.clock.now_ns() - self.keeper.board.trial.start_ns) / 1e9
        return await self.desk.correct(self.keeper.board.trial.id, AddEvent(kind, t_s, BY_HAND_U_S), by)

    def imported(self, *events: Event) -> str:
        """Enter a trial of 300 seconds, such as of another program's file."""
        trial = self.store.create_trial(bench="shed", start_ns=NOON_NS, origin="import", label="old", plan_text=PLAN).id
        self.store.end_trial(trial, NOON_NS + 300 * SECOND_NS)
        self.store.save_events(trial, events)
        return trial

    async def running(self, *said: Event) -> str:
        """Begin a trial at 240 s, in which these were announced."""
        self.keeper.fit(default_bench([Role.MASS]))
        self.keeper.nudge(NOON_NS + 300 * SECOND_NS)
        name = await self.keeper.arm(PLAN, None)
        self.script.turns = [turn(*said)]
        await self.keeper.catch_up()
        return name

    def said(self) -> list[dict[str, Any]]:
        """Return what viewers were told, in order."""
        return self.keeper.board.said_since(0)[0]

    def told(self) -> list[str]:
        """The same, shortly."""
        return [f"{one['kind']}{' back' if one.get('retracted') else ''}" for one in self.said()]


@pytest.fixture
async def bench(store: Store) -> Bench:
    return Bench(store)


async def refusal(making: Any) -> CorrectionError:
    with pytest.raises(CorrectionError) as refused:
        await making
    return refused.value


async def test_a_correction_of_an_ended_trial_is_kept_and_its_summary_falls_due(bench: Bench) -> None:
    trial = bench.imported(BOIL)
    change = MoveEvent(Target(EventKind.BOIL, 100.3), 120.0, 2.0)
    made = await bench.desk.correct(trial, change, ANA)
    # It is about the event as it was found, however a page had rounded it.
    fitted = replace(change, target=Target(EventKind.BOIL, 100.25, announced_t_s=BOIL.announced_t_s))
    assert BOIL.announced_t_s is not None
    assert made == Correction(1, bench.clock.now_ns(), "Ana", "saw it", fitted)
    assert bench.store.corrections(trial) == [made]
    assert bench.due == [Ended("shed", trial, provisional=False)]
    assert bench.told() == []


async def test_who_and_why_are_asked_for(bench: Bench) -> None:
    trial = bench.imported(BOIL)
    delete = DeleteEvent(Target(EventKind.BOIL, 100.25))
    assert (await refusal(bench.desk.correct(trial, delete, By("  ", "why")))).field == "who"
    assert (await refusal(bench.desk.correct(trial, delete, By("Ana", " ")))).field == "why"
    assert (await refusal(bench.desk.correct(trial, Exclude(), By("Ana")))).field == "why"
    assert (await refusal(bench.desk.correct(trial, Exclude(), By("Ana", "x" * 501)))).field == "why"
    assert (await refusal(bench.desk.correct(trial, Exclude(), By("x" * 501, "why")))).field == "who"
    assert bench.store.corrections(trial) == []
    assert bench.due == []
    assert (await bench.desk.correct(trial, AddEvent(EventKind.LIT, 5.0, 1.0), By(" Ana "))).who == "Ana"


async def test_what_is_not_in_the_record_cannot_be_corrected(bench: Bench) -> None:
    trial = bench.imported(BOIL)
    late = await refusal(bench.desk.correct(trial, AddEvent(EventKind.LIT, 302.0, 1.0), ANA))
    assert (late.field, "after the record's end" in str(late)) == ("t", True)
    none = await refusal(bench.desk.correct(trial, DeleteEvent(Target(EventKind.BOIL, 200.0)), ANA))
    assert "there is no boil at that moment" in str(none)
    with pytest.raises(UnknownTrialError):
        await bench.desk.correct("2020-01-01-1", Exclude(), ANA)


async def test_final_weights_enter_the_plan_and_leave_it_when_undone(bench: Bench) -> None:
    trial = bench.imported()
    await bench.desk.set_values(trial, {"fuel.char_left_g": 61.5, "pot.final_water_g": 430.0}, By("Ana"))
    plan = parse_plan(bench.store.trial(trial).plan_text)
    assert plan.fuel.char_left_g is not None
    assert plan.fuel.char_left_g.nominal_value == 61.5
    assert plan.pot is not None
    assert plan.pot.every.final_water_g is not None
    # The trial's own label came before that of the plan, and is that of the plan now.
    assert plan.label == "old"
    assert bench.store.trial(trial).label is None
    await bench.desk.correct(trial, Undo(1), By("Ben"))
    assert parse_plan(bench.store.trial(trial).plan_text).fuel.char_left_g is None
    assert [entry.who for entry in bench.store.corrections(trial)] == ["Ana", "Ben"]
    assert len(bench.due) == 2


async def test_a_weight_that_cannot_be_is_refused_with_its_hint_and_keeps_nothing(bench: Bench) -> None:
    trial = bench.imported()
    with pytest.raises(PlanError, match="more than the 310 g put in"):
        await bench.desk.set_values(trial, {"fuel.char_left_g": 4_000.0}, By("Ana"))
    assert bench.store.corrections(trial) == []
    assert (await refusal(bench.desk.set_values(trial, {"fuel.mass_g": 310.0}, By("Ana")))).field == "plan"


async def test_a_plan_is_edited_as_text_and_each_value_that_changed_is_kept(bench: Bench) -> None:
    trial = bench.imported()
    text = labelled(bench.store.trial(trial)).replace("310.0", "305.5").replace("old", "bark")
    made = await bench.desk.edit_plan(trial, text + "[place]\naltitude_m = 240.0\n", By("Ana"))
    assert made.change == EditPlan(
        {"label": ("old", "bark"), "fuel.mass_g": (310.0, 305.5), "place.altitude_m": (None, 240.0)}
    )
    assert parse_plan(bench.store.trial(trial).plan_text).label == "bark"
    with pytest.raises(PlanError, match="did you mean mass_g"):
        await bench.desk.edit_plan(trial, "[fuel]\nmas_g = 5\n", By("Ana"))


async def test_a_text_made_of_an_older_plan_does_not_undo_what_others_changed(bench: Bench) -> None:
    trial = bench.imported()
    text = labelled(bench.store.trial(trial))
    await bench.desk.set_values(trial, {"fuel.char_left_g": 61.5}, By("Ben"))
    refused = await refusal(bench.desk.edit_plan(trial, text + "[place]\naltitude_m = 240.0\n", By("Ana", seen=0)))
    assert "Ben changed the plan meanwhile (correction 1)" in str(refused)
    await bench.desk.correct(trial, Exclude(), By("Ben", "wind"))
    text = labelled(bench.store.trial(trial)) + "[place]\naltitude_m = 240.0\n"
    await bench.desk.edit_plan(trial, text, By("Ana", seen=1))


async def test_of_two_at_once_the_second_is_refused(bench: Bench) -> None:
    trial = bench.imported(BOIL)
    changes = (DeleteEvent(Target(EventKind.BOIL, 100.25)), MoveEvent(Target(EventKind.BOIL, 100.25), 90.0, 1.0))
    results = await asyncio.gather(
        *(bench.desk.correct(trial, change, By("Ana", "at once", seen=0)) for change in changes), return_exceptions=True
    )
    assert {type(result) for result in results} == {Correction, CorrectionError}
    assert len(bench.store.corrections(trial)) == 1


async def test_a_stamp_is_announced_in_the_place_of_what_was_found(bench: Bench) -> None:
    name = await bench.running(replace(LIT, t_s=100.0, announced_t_s=115.0), BOIL)
    made = await bench.stamp(EventKind.BOIL, By("Ana"))
    assert isinstance(made.change, AddEvent)
    assert made.change.t_s == 160.0
    assert bench.told() == ["lit", "boil", "boil back", "boil"]
    back, stamped = bench.said()[2:]
    assert (back["announced_t_s"], back["why"]) == (110.0, "Ana changed it")
    assert (stamped["t_s"], stamped["by_person"], stamped["announced_t_s"]) == (160.0, True, 160.0)
    assert bench.store.trial(name).end_ns is None
    assert bench.due == []


async def test_the_live_phase_is_that_of_a_persons_stamp(bench: Bench) -> None:
    """What a person saw of the fire was told as an event, and the page went on to say that it flames."""
    await bench.running(LIT)
    made = await bench.stamp(EventKind.FLAMEOUT, By("Ana"))
    bench.script.turns = [replace(turn(LIT), phase=Phase.FLAMING)] * 2
    await bench.keeper.catch_up()
    assert bench.keeper.board.document()["phase"] == "char"
    assert bench.keeper.board.trial is not None
    await bench.desk.correct(bench.keeper.board.trial.id, Undo(made.number), By("Ana"))
    await bench.keeper.catch_up()
    assert bench.keeper.board.document()["phase"] == "flaming"


async def test_what_is_found_after_a_stamp_is_kept_and_not_shown(bench: Bench) -> None:
    name = await bench.running(LIT)
    await bench.stamp(EventKind.BOIL, By("Ana"))
    bench.script.turns = [turn(LIT, replace(BOIL, t_s=150.0)), turn(LIT, replace(BOIL, t_s=150.0), OUT)]
    await bench.keeper.catch_up()
    await bench.keeper.catch_up()
    assert bench.told() == ["lit", "boil", "flameout"]
    assert [event.kind.value for event in bench.store.events(name)] == ["boil", "lit", "flameout"]
    assert bench.due == [Ended("yard", name, provisional=True)]
    # A correction from now on changes the provisional summary.
    await bench.desk.correct(name, Undo(1), By("Ben"))
    assert bench.told()[-2:] == ["boil back", "boil"]
    assert bench.due == [Ended("yard", name, provisional=True)] * 2


async def test_what_a_page_lists_is_what_viewers_were_told(bench: Bench) -> None:
    name = await bench.running(LIT, BOIL)
    await bench.stamp(EventKind.BOIL, By("Ana"))
    events = corrected_events(bench.store, bench.store.trial(name))
    assert [(event.kind.value, event.by_person) for event in events] == [("boil", True), ("lit", False)]


async def test_a_restarted_daemon_shows_a_persons_events_in_their_place(bench: Bench) -> None:
    await bench.running(LIT, BOIL)
    await bench.stamp(EventKind.BOIL, By("Ana"))
    board = Board("yard", bench.clock, IngestCounts())
    again = Keeper(bench.store, "yard", bench.clock, board, "UTC", bench.script, bench.due.append)
    await again.resume(bench.store.pasts(["yard"])["yard"])
    assert [(one["kind"], one["by_person"]) for one in board.said_since(0)[0]] == [("boil", True), ("lit", False)]


async def test_a_plan_that_is_edited_while_it_burns_is_followed_at_once(bench: Bench) -> None:
    name = await bench.running(LIT)
    await bench.desk.edit_plan(name, PLAN.replace("chips", "bark").replace("310.0", "280.0"), By("Ana"))
    await bench.keeper.catch_up()
    assert "280.0" in (bench.script.watches[-1].plan_text or "")
    assert bench.keeper.board.document()["label"] == "bark"


async def test_a_remark_needs_words_and_is_shown_at_once_while_it_burns(bench: Bench) -> None:
    await bench.running(LIT)
    assert (await refusal(bench.stamp(EventKind.NOTE, By("Ana")))).field == "why"
    await bench.stamp(EventKind.NOTE, By("Ana", "low power"))
    assert bench.told() == ["lit", "note"]
    assert bench.said()[-1]["evidence"] == "low power"


async def test_a_summary_is_asked_for_once_and_only_of_what_has_ended(bench: Bench) -> None:
    trial = bench.imported()
    for _ in range(2):
        bench.desk.renew(bench.store.trial(trial))
    assert bench.due == [Ended("shed", trial, provisional=False)]
    assert bench.desk.works_on(trial)
    name = await bench.running()
    bench.desk.renew(bench.store.trial(name))
    assert not bench.desk.works_on(name)


async def test_what_the_store_does_not_take_is_not_announced(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    await bench.running(LIT)

    def full(*_: object) -> None:
        raise StoreFullError("the disk is full")

    monkeypatch.setattr(bench.store, "add_correction", full)
    with pytest.raises(StoreFullError):
        await bench.stamp(EventKind.BOIL, ANA)
    assert bench.told() == ["lit"]


async def test_summaries_left_behind_their_corrections_are_worked_out_after_a_restart(bench: Bench) -> None:
    behind, fresh, whole = bench.imported(), bench.imported(), bench.imported()
    for trial in (behind, fresh):
        await bench.desk.correct(trial, Exclude(), By("Ana", "wind"))
        bench.store.save_summary(trial, json.dumps({"corrections": [{}] if trial == fresh else []}), "0.1.0")
    bench.store.save_summary(whole, "{}", "0.1.0")
    bench.due.clear()
    await bench.desk.resume()
    assert bench.due == [Ended("shed", behind, provisional=False)]


def test_a_summary_is_behind_where_it_is_missing_or_knows_fewer_corrections_or_readings() -> None:
    assert is_behind(None, 0)
    assert is_behind(StoredSummary("{}", "0.1.0"), 1)
    assert not is_behind(StoredSummary("{}", "0.0.1"), 0)
    assert not is_behind(StoredSummary('{"corrections": [{}]}', "0.1.0"), 1)
    assert is_behind(StoredSummary("{}", "0.1.0", behind=True), 0)
