"""What a broker is told, with a link that only notes it."""

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any, cast

import pytest

from emberline.links.mqtt import MqttLink
from emberline.service.board import Board
from emberline.service.clock import real_clock
from emberline.service.health import HealthWatch
from emberline.service.intake import IngestCounts
from emberline.service.outlet import EVERY_S, STILL_S, Outlet, last_will, pause_s
from emberline.service.rounds import Rounds
from emberline.trials.alarms import AlarmKind
from emberline.trials.alarms.alarm import Danger
from live_fixture import until


class Link:
    """Takes everything on, and confirms when told to."""

    def __init__(self) -> None:
        self.connected = True
        self.connections = 1
        self.taking = True
        self.sent: list[tuple[str, Any, bool, bool]] = []
        self.unconfirmed: list[Callable[[], None]] = []

    def publish(
        self,
        name: str,
        payload: bytes,
        *,
        retain: bool = False,
        sure: bool = True,
        done: Callable[[], None] | None = None,
    ) -> bool:
        if not (self.connected and self.taking):
            return False
        self.sent.append((name, json.loads(payload), retain, sure))
        if done is not None:
            self.unconfirmed.append(done)
        return True

    def confirm(self) -> None:
        for done in self.unconfirmed:
            done()
        self.unconfirmed.clear()

    def documents(self, name: str) -> list[Any]:
        return [document for topic, document, *_ in self.sent if topic == name]


@pytest.fixture
def board() -> Board:
    return Board("yard", real_clock(), IngestCounts())


@asynccontextmanager
async def publishing(link: Link, board: Board) -> AsyncIterator[None]:
    watch = HealthWatch(board.clock)
    outlet, rounds = Outlet(cast(MqttLink, link), watch, watch.over(board)), Rounds()
    rounds.enter("outlet", outlet.look, EVERY_S, lambda words: pytest.fail(words) if words else None)
    task = asyncio.create_task(rounds.run())
    try:
        yield
    finally:
        outlet.close()
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def test_state_events_summary_and_health_go_out(board: Board) -> None:
    link = Link()
    board.say({"kind": "lit"})
    board.summary_document = '{"schema": "emberline.summary/1"}'
    async with publishing(link, board):
        await until(lambda: len(link.documents("health")) > 0, "the health document")
    by_name = {name: (retain, sure) for name, _, retain, sure in link.sent}
    kept = dict.fromkeys(("alarms", "summary", "health"), (True, True))
    assert by_name == {"live": (False, False), "event": (False, True), **kept}
    assert link.documents("event") == [{"kind": "lit"}]
    last = link.documents("health")[-1]
    assert (last["recording"], last["why"]) == ("not recording", "the program was ended")


async def test_events_said_while_there_is_no_connection_go_out_later_and_none_twice(board: Board) -> None:
    link = Link()
    link.connected = False
    async with publishing(link, board):
        board.say({"kind": "lit"})
        board.say({"kind": "boil"})
        link.connected = True
        await until(lambda: len(link.documents("event")) == 2, "both events")
        link.confirm()
        link.connections = 2
        board.say({"kind": "flameout"})
        await until(lambda: len(link.documents("event")) == 3, "the third event")
    assert [document["kind"] for document in link.documents("event")] == ["lit", "boil", "flameout"]


async def test_what_was_not_confirmed_before_a_break_goes_out_again(board: Board) -> None:
    link = Link()
    board.summary_document = "{}"
    async with publishing(link, board):
        board.say({"kind": "lit"})
        await until(lambda: len(link.documents("event")) == 1, "the event")
        late = list(link.unconfirmed)
        link.connections = 2
        board.touch()
        await until(lambda: len(link.documents("event")) == 2, "the event again")
        # A confirmation from before the break says nothing about what was sent after it.
        late[0]()
        link.confirm()
        link.connections = 3
        board.touch()
        await until(lambda: len(link.documents("summary")) == 3, "the summary on each connection")
    assert len(link.documents("event")) == 2


async def test_a_link_that_takes_no_more_is_asked_again(board: Board) -> None:
    link = Link()
    link.taking = False
    async with publishing(link, board):
        board.say({"kind": "lit"})
        await asyncio.sleep(0)
        link.taking = True
        await until(lambda: link.documents("event") == [{"kind": "lit"}], "the event")


def test_the_last_will_says_that_nothing_is_recorded() -> None:
    document = json.loads(last_will("yard"))
    assert (document["recording"], document["benches"][0]["bench"]) == ("not recording", "yard")


async def test_alarms_go_out_when_they_change_and_to_every_new_connection(board: Board) -> None:
    link = Link()
    async with publishing(link, board):
        await until(lambda: link.documents("alarms") != [], "that there are none")
        board.alarms.judged(AlarmKind.CO_HIGH, Danger("250 ppm"))
        await until(lambda: len(link.documents("alarms")) == 2, "the alarm")
        states = len(link.documents("live"))
        await until(lambda: len(link.documents("live")) > states + 1, "more of the state")
        assert len(link.documents("alarms")) == 2, "what has not changed is not told again"
        link.connections += 1
        board.touch()
        await until(lambda: len(link.documents("alarms")) == 3, "the alarm once more")
        board.alarms.acknowledge("Ada")
        await until(lambda: len(link.documents("alarms")) == 4, "who saw it")
    none, raised, again, seen = link.documents("alarms")
    assert none["alarms"] == []
    assert (raised["schema"], raised["bench"]) == ("emberline.alarms/1", "yard")
    assert [one["kind"] for one in raised["alarms"]] == [one["kind"] for one in again["alarms"]] == ["co_high"]
    assert seen["alarms"][0]["acknowledged_by"] == "Ada"


def test_many_benches_have_their_states_told_less_often_but_each_once_a_second() -> None:
    assert [pause_s(benches) for benches in (1, 100, 200, 400, 2_000)] == [0.2, 0.25, 0.5, STILL_S, STILL_S]
    assert STILL_S + EVERY_S <= 1.0


async def test_health_goes_out_when_a_look_finds_another_or_a_warning_changes_and_not_with_each_state(
    board: Board,
) -> None:
    link, watch = Link(), HealthWatch(board.clock)
    outlet = Outlet(cast(MqttLink, link), watch, watch.over(board))

    def told() -> list[tuple[str, list[str]]]:
        # A state that is due, however short ago the last one was.
        outlet._published_s = float("-inf")
        outlet.look()
        return [(one["recording"], one["warnings"]) for one in link.documents("health")]

    waiting, recording = ("not recording", list[str]()), ("recording", list[str]())
    assert told() == told() == [waiting]
    board.counts.last_commit_ns = board.clock.now_ns()
    watch.look()
    assert told() == told() == [waiting, recording]
    watch.warn("disk", "the disk is nearly full")
    watch.warn("disk", "the disk is nearly full")
    assert told() == told() == [waiting, recording, ("recording", ["the disk is nearly full"])]
    assert len(link.documents("live")) == 6
