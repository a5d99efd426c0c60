"""Decisions about trials, with what happens in the curves made up: `Following` has tests of its own."""

import asyncio
import contextlib
from dataclasses import replace

import pytest

from emberline.bench.bench_file import default_bench, parse_bench
from emberline.bench.channels import Role
from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.service import keeper as module
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.errors import ApartError, BegunAnewError, RequestError, ServiceError
from emberline.service.intake import IngestCounts
from emberline.service.keeper import Ended, Keeper
from emberline.service.watch import FoundAlarms, Turn, Watch
from emberline.store.errors import StoreFullError
from emberline.store.store import Store
from emberline.trials.alarms import Alarm, AlarmKind
from emberline.trials.estimates import Estimates
from live_fixture import until
from unit.store.made_up import NOON_NS, SECOND_NS, batch

QUIET = Turn((), (), (), more=False, t_s=0.0, phase=Phase.WAITING, estimates=Estimates())
LIT = Event(EventKind.LIT, 310.0, 2.0, "mass falls", announced_t_s=325.0)
OUT = Event(EventKind.FLAMEOUT, 900.0, 5.0, "rate falls", announced_t_s=930.0)
BACK = Retraction(EventKind.FLAMEOUT, 930.0, 950.0, "it burns again")
PLAN = 'label = "chips, run 3"\n[fuel]\nmass_g = 310.0\n'


class Script:
    """Follows a record by heart."""

    def __init__(self) -> None:
        self.turns: list[Turn | ServiceError] = []
        self.watches: list[Watch] = []

    async def begin(self, watch: Watch) -> None:
        self.watches.append(watch)

    async def turn(self) -> Turn:
        turn = self.turns.pop(0) if self.turns else QUIET
        if isinstance(turn, ServiceError):
            raise turn
        return turn


@pytest.fixture
def script() -> Script:
    return Script()


@pytest.fixture
def due() -> list[Ended]:
    return []


@pytest.fixture
def keeper(store: Store, script: Script, due: list[Ended]) -> Keeper:
    clock = Clock(1.0, NOON_NS + 400 * SECOND_NS, 0.0, lambda: 0.0)
    board = Board("yard", clock, IngestCounts())
    store.commit("yard", [batch(0, 3000)])
    return Keeper(store, "yard", clock, board, "UTC", script, due.append)


def ready(keeper: Keeper) -> None:
    keeper.fit(default_bench([Role.MASS]))
    keeper.nudge(NOON_NS + 300 * SECOND_NS)


def turn(*said: Event | Retraction, more: bool = False, end_ns: int | None = None) -> Turn:
    announced = tuple(one for one in said if isinstance(one, Event))
    retracted = tuple(one for one in said if isinstance(one, Retraction))
    return replace(QUIET, said=said, announced=announced, retracted=retracted, more=more, end_ns=end_ns)


def shown(keeper: Keeper) -> list[str]:
    return [f"{one['kind']}{' back' if one.get('retracted') else ''}" for one in keeper.board.said_since(0)[0]]


async def test_arming_opens_a_trial_with_its_plan(keeper: Keeper, store: Store, script: Script) -> None:
    ready(keeper)
    name = await keeper.arm(PLAN, None)
    trial = store.trial(name)
    assert (trial.label, trial.plan_text, trial.end_ns, trial.zone) == ("chips, run 3", PLAN, None, "UTC")
    assert trial.start_ns == NOON_NS + 240 * SECOND_NS
    assert parse_bench(trial.bench_text).channels == default_bench([Role.MASS]).channels
    await keeper.catch_up()
    assert script.watches[-1].plan_text == PLAN
    assert script.watches[-1].start_ns == trial.start_ns
    assert keeper.board.document()["trial"] == name


async def test_a_fire_soon_after_the_first_reading_has_all_readings_also_those_that_came_late(
    keeper: Keeper, store: Store, script: Script
) -> None:
    # Streams are stored one by one, so that the one stored first need not be the one that began first.
    ready(keeper)
    script.turns = [QUIET]
    await keeper.catch_up()
    first_ns = int(batch(0, 1).t_ns[0])
    early = replace(batch(0, 1), channel="other", t_ns=batch(0, 1).t_ns - 5)
    store.commit("yard", [early])
    script.turns = [replace(QUIET, begin_ns=first_ns - 290 * SECOND_NS)]
    await keeper.catch_up()
    assert [trial.start_ns for trial in store.trials()] == [first_ns - 5]


async def test_a_fire_soon_after_a_trial_takes_nothing_of_it(keeper: Keeper, store: Store, script: Script) -> None:
    ready(keeper)
    script.turns = [replace(QUIET, begin_ns=NOON_NS), turn(LIT, more=True), turn(end_ns=NOON_NS + 200 * SECOND_NS)]
    await keeper.catch_up()
    script.turns = [replace(QUIET, begin_ns=NOON_NS + 100 * SECOND_NS)]
    await keeper.catch_up()
    first, second = store.trials()
    assert second.start_ns > NOON_NS + 200 * SECOND_NS == first.end_ns


async def test_arming_needs_readings(keeper: Keeper) -> None:
    with pytest.raises(RequestError, match="no reading has come"):
        await keeper.arm("", None)


async def test_a_plan_with_problems_opens_nothing(keeper: Keeper, store: Store) -> None:
    ready(keeper)
    with pytest.raises(RequestError, match="moisture_wet"):
        await keeper.arm("[fuel]\nmoisture_wet = 11.0\n", None)
    assert store.trials() == []


async def test_a_second_plan_is_refused(keeper: Keeper) -> None:
    ready(keeper)
    name = await keeper.arm(PLAN, None)
    with pytest.raises(RequestError, match=f"{name} runs and has its plan"):
        await keeper.arm(PLAN, None)


async def test_a_fire_that_nobody_armed_opens_a_trial_and_a_plan_may_follow(
    keeper: Keeper, store: Store, script: Script
) -> None:
    ready(keeper)
    script.turns = [QUIET, replace(QUIET, begin_ns=NOON_NS + 10 * SECOND_NS), turn(LIT)]
    await keeper.catch_up()
    await keeper.catch_up()
    (trial,) = store.trials()
    assert (trial.start_ns, trial.plan_text) == (NOON_NS + 10 * SECOND_NS, "")
    assert store.events(trial.id) == [LIT]
    assert await keeper.arm(PLAN, None) == trial.id
    await keeper.catch_up()
    assert script.watches[-1].plan_text == PLAN
    assert script.watches[-1].announced == (LIT,)
    assert keeper.board.document()["label"] == "chips, run 3"


async def test_announcements_are_saved_then_shown_once(keeper: Keeper, store: Store, script: Script) -> None:
    ready(keeper)
    name = await keeper.arm("", "chips")
    saved_when_shown: list[int] = []
    say = keeper.board.say

    def watch_say(document: dict[str, object]) -> None:
        saved_when_shown.append(len(store.events(name)))
        say(document)

    keeper.board.say = watch_say  # type: ignore[method-assign]
    script.turns = [turn(LIT, more=True), replace(turn(LIT), said=(LIT,))]
    await keeper.catch_up()
    assert saved_when_shown == [1]
    assert shown(keeper) == ["lit"]


async def test_an_event_that_turns_out_otherwise_is_told_again(keeper: Keeper, script: Script) -> None:
    ready(keeper)
    await keeper.arm("", None)
    fed = Event(EventKind.REFUEL, 500.0, 1.0, "load rose", announced_t_s=510.0)
    revised = replace(fed, t_s=504.0, revised_t_s=530.0)
    script.turns = [turn(fed, more=True), turn(revised, more=True), turn(revised)]
    await keeper.catch_up()
    moments = [one["revised_t_s"] for one in keeper.board.said_since(0)[0]]
    assert moments == [None, 530.0]


async def test_a_flameout_brings_a_provisional_summary_and_may_be_taken_back(
    keeper: Keeper, store: Store, script: Script, due: list[Ended]
) -> None:
    ready(keeper)
    name = await keeper.arm("", None)
    script.turns = [turn(LIT, OUT, more=True), replace(turn(LIT, BACK), said=(BACK,))]
    await keeper.catch_up()
    assert due == [Ended("yard", name, provisional=True)]
    assert shown(keeper) == ["lit", "flameout", "flameout back"]
    assert store.retractions(name) == [BACK]
    assert store.trial(name).end_ns is None


async def test_a_trial_that_ends_by_itself_gets_its_summary_and_the_next_fire_is_looked_out_for(
    keeper: Keeper, store: Store, script: Script, due: list[Ended]
) -> None:
    ready(keeper)
    name = await keeper.arm("", None)
    end_ns = NOON_NS + 2_700 * SECOND_NS
    script.turns = [turn(LIT, OUT, end_ns=end_ns)]
    await keeper.catch_up()
    assert store.trial(name).end_ns == end_ns
    assert due == [Ended("yard", name, provisional=True), Ended("yard", name, provisional=False)]
    assert script.watches[-1].plan_text is None
    assert script.watches[-1].start_ns == end_ns + 1
    assert keeper.board.document()["trial"] is None


async def test_a_person_ends_a_trial_with_its_newest_reading(keeper: Keeper, store: Store, due: list[Ended]) -> None:
    ready(keeper)
    name = await keeper.arm("", None)
    store.commit("yard", [batch(3000, 501)])
    keeper.nudge(NOON_NS + 350 * SECOND_NS)
    assert await keeper.end() == name
    assert store.trial(name).end_ns == NOON_NS + 350 * SECOND_NS
    with pytest.raises(RequestError, match="no trial is running"):
        await keeper.end()


async def test_readings_that_come_after_the_end_of_their_trial_have_its_summary_made_anew(
    keeper: Keeper, due: list[Ended]
) -> None:
    # A hole in one channel was filled a second after a person had ended the trial: the summary never heard of it.
    ready(keeper)
    trial = await keeper.arm(PLAN, None)
    assert await keeper.end() == trial
    keeper.added_to(())
    keeper.added_to((trial,))
    assert due == [Ended("yard", trial, provisional=False)] * 2


async def test_a_summary_that_knows_less_than_is_stored_is_due_after_a_restart(
    keeper: Keeper, store: Store, due: list[Ended]
) -> None:
    # The program was killed between the commit of late readings and the summary that was to be made anew of them.
    trial = store.create_trial(bench="yard", start_ns=NOON_NS).id
    store.end_trial(trial, NOON_NS + 300 * SECOND_NS)
    store.save_summary(trial, "{}", "0.1.0")
    await keeper.resume(store.pasts(["yard"])["yard"])
    assert due == []
    store.commit("yard", [batch(0, 5, channel="water")])
    await keeper.resume(store.pasts(["yard"])["yard"])
    assert due == [Ended("yard", trial, provisional=False)]


async def test_remarks_are_kept_with_and_without_a_trial(keeper: Keeper, store: Store, script: Script) -> None:
    await keeper.note("bench cleaned")
    ready(keeper)
    name = await keeper.arm("", None)
    await keeper.note("closed two holes")
    script.turns = [turn(LIT)]
    await keeper.catch_up()
    assert [(note.text, note.trial) for note in store.notes("yard")] == [
        ("bench cleaned", None),
        ("closed two holes", name),
    ]
    note, lit = store.events(name)
    assert (note.kind, note.evidence, note.by_person) == (EventKind.NOTE, "closed two holes", True)
    assert lit == LIT
    assert note.t_s == 160.0


async def test_a_restarted_daemon_goes_on_with_the_same_trial_and_repeats_no_announcement(
    keeper: Keeper, store: Store, script: Script, due: list[Ended]
) -> None:
    ready(keeper)
    name = await keeper.arm(PLAN, None)
    script.turns = [turn(LIT)]
    await keeper.catch_up()
    await keeper.note("a remark")
    board = Board("yard", keeper.clock, IngestCounts())
    again = Keeper(store, "yard", keeper.clock, board, "UTC", script, due.append)
    await again.resume(store.pasts(["yard"])["yard"])
    assert shown(again) == ["note", "lit"]
    script.turns = [replace(turn(LIT, OUT), said=(LIT, OUT))]
    await again.catch_up()
    assert script.watches[-1].announced == (LIT,)
    assert shown(again) == ["note", "lit", "flameout"]
    assert [event.kind for event in store.events(name)] == [EventKind.NOTE, EventKind.LIT, EventKind.FLAMEOUT]
    assert len(store.trials()) == 1


async def test_a_trial_ended_after_a_restart_ends_with_the_newest_reading_of_the_run_before(
    keeper: Keeper, store: Store, script: Script, due: list[Ended]
) -> None:
    ready(keeper)
    name = await keeper.arm(PLAN, None)
    store.commit("shed", [batch(5000, 10)])
    again = Keeper(store, "yard", keeper.clock, Board("yard", keeper.clock, IngestCounts()), "UTC", script, due.append)
    await again.resume(store.pasts(["yard"])["yard"])
    assert await again.end() == name
    assert store.trial(name).end_ns == NOON_NS + 2999 * SECOND_NS // 10


async def test_a_summary_left_undone_is_done_after_a_restart(keeper: Keeper, store: Store, due: list[Ended]) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS)
    store.end_trial(trial.id, NOON_NS + SECOND_NS)
    other = store.create_trial(bench="shed", start_ns=NOON_NS)
    store.end_trial(other.id, NOON_NS + SECOND_NS)
    await keeper.resume(store.pasts(["yard"])["yard"])
    assert due == [Ended("yard", trial.id, provisional=False)]


async def test_a_follower_that_dies_is_begun_anew(
    keeper: Keeper, script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "AGAIN_S", 0.001)
    ready(keeper)
    await keeper.arm("", None)
    script.turns = [ApartError("the follower is gone"), turn(LIT)]
    task = asyncio.create_task(keeper.run())
    await until(lambda: shown(keeper) == ["lit"], "the announcement")
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
    assert len(script.watches) == 2


async def test_a_follower_that_another_bench_brought_down_is_told_of_the_record_again_without_a_word(
    keeper: Keeper, script: Script, caplog: pytest.LogCaptureFixture
) -> None:
    ready(keeper)
    await keeper.arm("", None)
    script.turns = [turn(more=True), BegunAnewError("the follower was begun anew"), turn(LIT)]
    await keeper.catch_up()
    assert shown(keeper) == ["lit"]
    assert len(script.watches) == 2
    assert keeper.board.document()["trouble"] == ""
    assert [record for record in caplog.records if record.levelname == "ERROR"] == []


async def test_a_record_that_brings_the_follower_down_again_and_again_is_tried_more_and_more_seldom(
    keeper: Keeper, script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    pauses_s: list[float] = []
    sleep = asyncio.sleep

    async def note(seconds: float) -> None:
        if seconds >= module.AGAIN_S:
            pauses_s.append(seconds)
        await sleep(0)

    ready(keeper)
    await keeper.arm("", None)
    script.turns = [ApartError("the follower is gone")] * 9
    with monkeypatch.context() as patch:
        patch.setattr(asyncio, "sleep", note)
        task = asyncio.create_task(keeper.run())
        while script.turns or len(pauses_s) < 9:
            await sleep(0)
        task.cancel()
        await asyncio.wait([task])
    assert pauses_s == [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0, 60.0]


async def test_what_a_full_disk_refuses_is_found_and_kept_once_there_is_room(
    keeper: Keeper, store: Store, script: Script, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(module, "AGAIN_S", 0.001)
    ready(keeper)
    name = await keeper.arm("", None)
    keep = store.save_events
    refusals: list[int] = []

    def save(trial: str, events: list[Event], retracted: list[Retraction]) -> None:
        if len(refusals) < 8:
            refusals.append(1)
            script.turns.append(turn(LIT))
            raise StoreFullError("the disk is full")
        keep(trial, events, retracted)

    monkeypatch.setattr(store, "save_events", save)
    script.turns = [turn(LIT)]
    task = asyncio.create_task(keeper.run())
    await until(lambda: shown(keeper) == ["lit"], "the announcement")
    await until(lambda: keeper.board.document()["trouble"] == "", "the all-clear")
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
    assert store.events(name) == [LIT]
    assert caplog.text.count("the disk is full") == 1


async def test_a_remark_waits_for_a_store_that_refuses_it(
    keeper: Keeper, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise StoreFullError("the disk is full")

    keeper.remark("The device restarted.")
    with monkeypatch.context() as patch:
        patch.setattr(store, "add_note", refuse)
        with pytest.raises(StoreFullError):
            await keeper.catch_up()
    await keeper.catch_up()
    assert [note.text for note in store.notes("yard")] == ["The device restarted."]


async def test_a_device_that_restarts_leaves_a_remark(keeper: Keeper, store: Store) -> None:
    ready(keeper)
    await keeper.arm("", None)
    keeper.remark("The device restarted.")
    await keeper.catch_up()
    assert shown(keeper) == ["note"]
    assert store.notes("yard")[0].text == "The device restarted."


async def test_alarms_of_the_record_are_shown(keeper: Keeper, script: Script) -> None:
    ready(keeper)
    await keeper.arm("", None)
    alarm = Alarm(AlarmKind.LOAD_GONE, 30.0, "it fell")
    script.turns = [turn(), replace(turn(), alarms=FoundAlarms(NOON_NS, (alarm,), first=False))]
    await keeper.catch_up()
    assert keeper.board.document()["alarms"] == []
    await keeper.catch_up()
    (shown,) = keeper.board.document()["alarms"]
    assert (shown["kind"], shown["raised_ns"]) == ("load_gone", NOON_NS + 30 * SECOND_NS)


async def test_the_next_fire_is_looked_out_for_with_what_the_bench_was_calibrated_to_meanwhile(
    keeper: Keeper, script: Script
) -> None:
    ready(keeper)
    await keeper.catch_up()
    ready(keeper)
    await keeper.catch_up()
    assert len(script.watches) == 1  # a device that greets again as it was changes nothing
    bench = default_bench([Role.MASS])
    keeper.fit(replace(bench, channels=(replace(bench.channels[0], u_bias=0.3),)))
    await keeper.catch_up()
    assert "u_bias = 0.3" in script.watches[-1].bench_text
    assert len(script.watches) == 2


async def test_a_calibration_leaves_a_running_trial_as_it_was_begun(keeper: Keeper, script: Script) -> None:
    ready(keeper)
    await keeper.arm(PLAN, None)
    await keeper.catch_up()
    before = len(script.watches)
    bench = default_bench([Role.MASS])
    keeper.fit(replace(bench, channels=(replace(bench.channels[0], u_bias=0.3),)))
    await keeper.catch_up()
    assert len(script.watches) == before
