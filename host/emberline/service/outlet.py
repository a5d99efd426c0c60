"""What a broker is told of a bench: its state now, its events and alarms, its newest summary, and whether it records.

Events are sent until the broker confirms them, in order; after a break some may come twice, none is left out that the
board still holds.
"""

import asyncio
import json
from collections.abc import Mapping
from functools import partial
from typing import Any

from emberline.links.mqtt import MqttLink
from emberline.service.bench_health import BenchWatch
from emberline.service.health import HEALTH_SCHEMA, HealthWatch, health_document
from emberline.trials.live_document import Recording

ALARMS_SCHEMA = "emberline.alarms/1"
EVERY_S = 0.25
"""How often is looked whether something is to be told, real seconds."""
STILL_S = 0.75
"""The state goes out after so long at the latest, so that it does once a second, and ages are seen to grow."""
LEAST_PAUSE_S = 0.2
"""Shortest pause between two states."""
STATES_A_SECOND = 400
"""Of all benches together; where there are more of them, each has its state told less often, down to `STILL_S`."""
HEALTH_EVERY_S = 10.0
_AS_JSON = json.JSONEncoder(ensure_ascii=False, allow_nan=False)


class Outlet:
    """Publishes what the board shows, and how the bench's recording stands."""

    def __init__(self, link: MqttLink, health: HealthWatch, bench: BenchWatch) -> None:
        """Prepare; whoever calls `look` has it publish.

        Args:
            link: The way to the broker.
            health: The watch over all benches.
            bench: That over this one.
        """
        self._link = link
        self._board = bench.board
        self._health = health
        self._bench = bench
        self._connection = 0
        self._sent = self._confirmed = 0
        self._summary: str | None = None
        self._alarms: list[Any] | None = None
        self._told: tuple[object, ...] = ()
        self._told_s = 0.0
        self._version = -1
        self._published_s = float("-inf")

    def look(self) -> None:
        """Publish what is new, where the last time was long enough ago."""
        now_s = asyncio.get_running_loop().time()
        limit_s = STILL_S if self._version == self._board.version else pause_s(len(self._health.benches))
        if now_s - self._published_s >= limit_s and self._link.connected:
            self._version, self._published_s = self._board.version, now_s
            self._publish()

    def close(self) -> None:
        """Say that nothing is recorded any more."""
        self._link.publish("health", _ended(self._board.bench, "the program was ended"), retain=True)

    def _publish(self) -> None:
        if self._connection != self._link.connections:
            # What was under way on the last connection may never have arrived.
            self._connection = self._link.connections
            self._sent, self._summary, self._alarms, self._told = self._confirmed, None, None, ()
        live = self._board.document()
        self._link.publish("live", _bytes(live), sure=False)
        self._publish_events()
        self._publish_alarms(live)
        summary = self._board.summary_document
        if (
            summary is not None
            and summary != self._summary
            and self._link.publish("summary", summary.encode(), retain=True)
        ):
            self._summary = summary
        self._publish_health()

    def _publish_events(self) -> None:
        said, after = self._board.said_since(self._sent)
        for index, document in enumerate(said, after - len(said) + 1):
            done = partial(self._confirm, self._connection, index)
            if not self._link.publish("event", _bytes(document), done=done):
                return
            self._sent = index

    def _publish_alarms(self, live: Mapping[str, Any]) -> None:
        """Tell the alarms whenever one of them is other than it was, and so again each time one is told again."""
        alarms = live["alarms"]
        if alarms != self._alarms:
            told = {"schema": ALARMS_SCHEMA, **{key: live[key] for key in ("bench", "time_ns", "alarms")}}
            if self._link.publish("alarms", _bytes(told), retain=True):
                self._alarms = alarms

    def _confirm(self, connection: int, index: int) -> None:
        if connection == self._connection:
            self._confirmed = max(self._confirmed, index)

    def _publish_health(self) -> None:
        """Tell how the recording stands: when a look has found it other than before, and now and then."""
        trial = self._board.trial
        told = self._bench.changes, self._health.warned, trial and trial.id
        now_s = asyncio.get_running_loop().time()
        if told == self._told and now_s - self._told_s <= HEALTH_EVERY_S:
            return
        document = health_document(self._health.health(self._bench))
        if self._link.publish("health", _bytes(document), retain=True):
            self._told, self._told_s = told, now_s


def pause_s(benches: int) -> float:
    """Return the pause between two states of one of so many benches."""
    return min(STILL_S, max(LEAST_PAUSE_S, benches / STATES_A_SECOND))


def last_will(bench: str) -> bytes:
    """Return what the broker is to say of a bench when the daemon vanishes without a good-bye."""
    return _ended(bench, "the connection of the program that records this bench broke off")


def _ended(bench: str, why: str) -> bytes:
    state = {"recording": Recording.NOT_RECORDING.value, "why": why}
    return _bytes({"schema": HEALTH_SCHEMA, **state, "benches": [{"bench": bench, **state}]})


def _bytes(document: Mapping[str, Any]) -> bytes:
    return _AS_JSON.encode(document).encode()
