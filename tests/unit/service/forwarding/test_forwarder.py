"""Forwarding against a server that turns rows away in every way there is: nothing is lost, nothing is doubled."""

import asyncio
import json
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, suppress
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, EventKind
from emberline.service.clock import Clock
from emberline.service.forwarding.forwarder import Forwarder
from emberline.service.forwarding.server_file import TimeSeriesServer
from emberline.service.forwarding.target import LIMIT_S
from emberline.service.health import HealthWatch
from emberline.store.store import Store
from line_server_fixture import Answer, LineServer, line_server, slow, taken
from live_fixture import until

NOON_NS = 1_764_072_000 * 10**9


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "s", lambda: NOON_NS) as opened:
        yield opened


@pytest.fixture
def server() -> Iterator[LineServer]:
    with line_server() as opened:
        yield opened


def fill(store: Store, commits: int = 12, first: int = 0) -> int:
    """Commit some batches of ten samples on two benches; return how many samples that is."""
    for number in range(first, first + commits):
        t_ns = NOON_NS + (np.arange(10, dtype=np.int64) + 10 * number) * 100_000_000
        for bench in ("yard", "shed"):
            raw = np.arange(10.0) + number
            store.commit(bench, [SampleBatch(bench, 1, "mass", 10 * number, t_ns, raw, np.zeros(10, np.uint8))])
    return 20 * commits


def forwarder(store: Store, server: LineServer, **options: object) -> Forwarder:
    clock = Clock(1.0, NOON_NS, 0.0, lambda: 0.0)
    named = TimeSeriesServer(server.url, every_s=0.0)
    return Forwarder(store, {}, named, HealthWatch(clock), draw=lambda: 0.0, **options)  # type: ignore[arg-type]


@asynccontextmanager
async def forwarding(one: Forwarder) -> AsyncIterator[None]:
    task = asyncio.create_task(one.run())
    try:
        yield
        assert not task.done(), task
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


def all_sent(store: Store, one: Forwarder) -> bool:
    return store.outbox_cursor(one.server.name) == store.newest_commit() > 0


async def test_every_sample_arrives_once_and_the_cursor_follows(store: Store, server: LineServer) -> None:
    sent = fill(store)
    one = forwarder(store, server)
    async with forwarding(one):
        await until(lambda: all_sent(store, one), "the cursor", 20.0)
        sent += fill(store, first=12)
        await until(lambda: all_sent(store, one), "the cursor", 20.0)
    assert len(server.rows) == sent
    assert len(server.streams()) == 2
    assert one.behind == 0


async def test_a_second_start_sends_nothing_twice(store: Store, server: LineServer) -> None:
    sent = fill(store)
    for one in (forwarder(store, server), forwarder(store, server)):
        async with forwarding(one):
            await until(partial(all_sent, store, one), "the cursor", 20.0)
    assert sum(server.sizes) == sent


def after(failures: int, status: int, headers: dict[str, str] | None = None, *, keeps: bool = False) -> Answer:
    """Turn so many requests away, then take all."""
    left = [failures]

    def answer(server: LineServer, lines: list[str]) -> tuple[int, dict[str, str]]:
        if left[0]:
            left[0] -= 1
            if keeps:
                taken(server, lines[: len(lines) // 2])
            return status, headers or {}
        return taken(server, lines)

    return answer


@pytest.mark.parametrize(
    "answer",
    [
        after(3, 503),
        after(2, 500, keeps=True),
        after(2, 429, {"Retry-After": "0"}),
        after(1, 507),
        after(1, 429, {"Retry-After": "soon"}),
    ],
    ids=["down", "half kept", "rate limited", "full", "odd header"],
)
async def test_what_is_turned_away_is_sent_again(store: Store, server: LineServer, answer: Answer) -> None:
    sent = fill(store)
    server.answer = answer
    one = forwarder(store, server)
    async with forwarding(one):
        await until(lambda: all_sent(store, one), "the cursor", 30.0)
    assert len(server.rows) == sent
    assert one.refused == 0


async def test_a_server_that_is_away_is_waited_for(store: Store, server: LineServer) -> None:
    fill(store)
    one = forwarder(store, server)
    one.server = TimeSeriesServer("http://127.0.0.1:9", every_s=0.0)
    async with forwarding(one):
        await until(lambda: bool(one.watch.health().warnings), "a warning", 20.0)
        assert "does not answer" in one.watch.health().warnings[0]
        assert store.outbox_cursor(one.server.name) == 0
    assert one.behind == store.newest_commit()


async def test_a_sample_that_was_chosen_and_turned_away_is_chosen_again(store: Store, server: LineServer) -> None:
    """Each commit fills one slot: what was chosen for it goes again with the next ones, though its slot is known."""
    one = forwarder(store, server)
    one.server = TimeSeriesServer(server.url, every_s=1.0)
    server.answer = after(1, 503)
    async with forwarding(one):
        fill(store, 1)
        await until(lambda: server.requests > 0, "a request", 10.0)
        fill(store, 3, first=1)
        await until(lambda: all_sent(store, one), "the cursor", 30.0)
    assert sorted({t_ns for _, t_ns in server.rows}) == [NOON_NS + k * 10**9 for k in range(4)]
    assert len(server.rows) == 8


def refuses(word: str, *, keeps: bool) -> Answer:
    """Refuse every request that holds a word; keep its other rows or not."""

    def answer(server: LineServer, lines: list[str]) -> tuple[int, dict[str, str]]:
        bad = [line for line in lines if word in line]
        if bad and keeps:
            taken(server, [line for line in lines if word not in line])
        return (400, {}) if bad else taken(server, lines)

    return answer


@pytest.mark.parametrize("keeps", [True, False])
async def test_one_bad_row_does_not_hold_up_the_others(store: Store, server: LineServer, keeps: bool) -> None:
    sent = fill(store)
    server.answer = refuses("raw=7.0", keeps=keeps)
    one = forwarder(store, server)
    async with forwarding(one):
        await until(lambda: all_sent(store, one), "the cursor", 30.0)
    bad = sum(1 for number in range(12) for k in range(10) if number + k == 7) * 2
    assert len(server.rows) == sent - bad
    assert one.refused == bad
    assert [notice.kind.value for notice in store.notices()] == ["row refused"]


async def test_requests_that_are_too_large_are_halved(store: Store, server: LineServer) -> None:
    sent = fill(store)
    server.answer = lambda one, lines: (413, {}) if len(lines) > 16 else taken(one, lines)
    one = forwarder(store, server)
    async with forwarding(one):
        await until(lambda: all_sent(store, one), "the cursor", 30.0)
    assert len(server.rows) == sent


@pytest.mark.parametrize("status", [401, 403, 404])
async def test_a_server_that_does_not_know_us_needs_a_person(store: Store, server: LineServer, status: int) -> None:
    fill(store)
    server.answer = lambda *_: (status, {})
    one = forwarder(store, server)
    async with forwarding(one):
        await until(lambda: bool(one.watch.health().warnings), "a warning", 20.0)
    assert "see to its address, bucket and token" in one.watch.health().warnings[0]
    assert server.requests == 1
    assert store.outbox_cursor(one.server.name) == 0


async def test_a_hung_server_does_not_hold_up_the_end(store: Store, server: LineServer) -> None:
    fill(store)
    server.answer = slow(LIMIT_S + 3.0)
    one = forwarder(store, server)
    loop = asyncio.get_running_loop()
    async with forwarding(one):
        await until(lambda: server.requests > 0, "a request", 10.0)
        begun = loop.time()
    assert loop.time() - begun < 1.0


async def test_events_and_results_go_too_and_again_when_they_change(store: Store, server: LineServer) -> None:
    fill(store, 2)
    trial = store.create_trial(bench="yard", start_ns=NOON_NS)
    store.end_trial(trial.id, NOON_NS + 10**10)

    def summed(value: float) -> None:
        store.save_events(trial.id, [Event(EventKind.LIT, 1.5, 0.5, "lit")])
        results = {"burn_time": {"value": value, "u": 2.0, "unit": "s", "interval_95": [value - 4, value + 4]}}
        store.save_summary(trial.id, json.dumps({"results": results}), "0.1.0")

    summed(700.0)
    one = forwarder(store, server)
    key = (f"emberline_result,bench=yard,result=burn_time,revision=1,trial={trial.id},unit=s", NOON_NS)
    async with forwarding(one):
        await until(lambda: server.rows.get(key, {}).get("value") == "700.0", "the result", 20.0)
        assert any("emberline_event" in stream and "kind=lit" in stream for stream in server.streams())
        newer = (key[0].replace("revision=1", "revision=2"), NOON_NS)
        summed(690.0)
        await until(lambda: server.rows.get(newer, {}).get("value") == "690.0", "the corrected result", 20.0)
        await until(lambda: server.rows[key].get("replaced") == "1i", "the end of the earlier one", 20.0)
        await until(lambda: store.changed_summaries(one.server.name) == [], "the forwarder to settle it", 20.0)
    assert server.rows[newer]["replaced"] == "0i"


async def test_its_figures_tell_what_waits_and_since_when(store: Store, server: LineServer) -> None:
    sent = fill(store)
    server.answer = after(1, 503)
    one = forwarder(store, server)
    async with forwarding(one):
        await until(lambda: one.failures == 1, "a failure", 10.0)
        assert (one.behind, one.oldest_ns, one.failed_ns) == (store.newest_commit(), NOON_NS, NOON_NS)
        await until(lambda: all_sent(store, one), "the cursor", 30.0)
        await until(lambda: one.oldest_ns is None, "the end of waiting", 10.0)
    assert (one.taken, one.behind, one.failures) == (sent, 0, 1)


async def test_samples_that_no_server_has_are_not_pruned(store: Store, server: LineServer) -> None:
    fill(store)
    server.answer = lambda *_: (503, {})
    one = forwarder(store, server)
    async with forwarding(one):
        await until(lambda: server.requests > 0, "a request", 10.0)
    assert store.prune(NOON_NS + 10**15).blocks == 0
