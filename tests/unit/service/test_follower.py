import asyncio
import os
import signal
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import stored_burn
from emberline.bench.calibration import ThermocoupleCode
from emberline.bench.channels import Role
from emberline.curves.events import EventKind
from emberline.service.bench_fit import bench_text
from emberline.service.errors import ApartError, BegunAnewError
from emberline.service.follower import ApartFollower
from emberline.service.watch import Turn, Watch
from emberline.store.store import Store
from emberline_sim.recording import Recording
from stored_burn import BENCH, START_NS

BURN_S = 120.0


@pytest.fixture(scope="module")
def burn(tmp_path_factory: pytest.TempPathFactory) -> Recording:
    return stored_burn.recording(str(tmp_path_factory.mktemp("burn")), BURN_S)


@asynccontextmanager
async def following(store: Store) -> AsyncIterator[ApartFollower]:
    follower = ApartFollower(store.path)
    runs = asyncio.create_task(follower.run())
    try:
        yield follower
    finally:
        runs.cancel()
        await asyncio.wait([runs])
        await follower.close()


def watch(burn: Recording, bench: str = BENCH) -> Watch:
    return Watch(bench, bench_text(stored_burn.bench(burn)), START_NS, stored_burn.plan(burn))


async def test_several_benches_are_followed_by_one_process_that_asks_each_in_its_turn(
    store: Store, burn: Recording
) -> None:
    stored_burn.fill(store, burn)
    order: list[str] = []
    async with following(store) as follower:
        busy, quiet = follower.of(BENCH), follower.of("shed")
        await busy.begin(watch(burn))
        await quiet.begin(watch(burn, "shed"))

        async def ask(name: str, turns: int) -> None:
            for _ in range(turns):
                await follower.of(name).turn()
                order.append(name)

        async with asyncio.TaskGroup() as group:
            group.create_task(ask(BENCH, 3))
            group.create_task(ask("shed", 3))
        while (turn := await busy.turn()).more:
            pass
    assert order == [BENCH, "shed"] * 3
    assert [event.kind for event in turn.announced] == [EventKind.LIT]


async def test_a_process_that_is_gone_costs_the_other_benches_no_more_than_a_new_beginning(
    store: Store, burn: Recording
) -> None:
    async with following(store) as follower:
        yard, shed = follower.of(BENCH), follower.of("shed")
        await yard.begin(watch(burn))
        await shed.begin(watch(burn, "shed"))
        await asyncio.gather(yard.turn(), shed.turn())
        process = follower._apart._process
        assert process is not None
        os.kill(process.pid, signal.SIGKILL)
        # That it is gone is noticed by the question, or before it.
        with pytest.raises((ApartError, BegunAnewError)):
            await yard.turn()
        with pytest.raises(BegunAnewError):
            await shed.turn()
        await shed.begin(watch(burn, "shed"))
        assert (await shed.turn()).t_s == 0.0
        with pytest.raises(BegunAnewError):
            await yard.turn()


async def test_what_fails_for_one_bench_leaves_the_process_to_the_others(
    store: Store, burn: Recording, tmp_path: Path
) -> None:
    async with following(store) as follower:
        follower.begin(watch(burn))
        follower.begin(Watch("shed", "no bench file", START_NS))
        sound, failed = await asyncio.gather(follower.turn(BENCH), follower.turn("shed"), return_exceptions=True)
        assert isinstance(failed, ApartError)
        assert "failed" in str(failed)
        assert isinstance(sound, Turn)
        assert sound.t_s == 0.0
        with pytest.raises(BegunAnewError):
            await follower.turn("shed")


async def test_one_question_serves_all_benches_that_wait(
    store: Store, burn: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored_burn.fill(store, burn)
    async with following(store) as follower:
        names = [BENCH, "shed", "barn"]
        for name in names:
            follower.begin(watch(burn, name))
        asked: list[tuple[str, list[Watch], list[str]]] = []
        call = follower._apart.call

        async def heard(method: str, watches: list[Watch], benches: list[str], *, limit_s: float) -> object:
            asked.append((method, watches, benches))
            return await call(method, watches, benches, limit_s=limit_s)

        monkeypatch.setattr(follower._apart, "call", heard)
        turns = await asyncio.gather(*(follower.turn(name) for name in names))
    assert [(method, [one.bench for one in watches], benches) for method, watches, benches in asked[:1]] == [
        ("turns", names, names)
    ]
    assert [turn.t_s > 0.0 for turn in turns] == [True, False, False]


async def test_a_bench_that_stops_waiting_begins_anew_lest_what_was_found_for_it_is_lost(
    store: Store, burn: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored_burn.fill(store, burn)
    async with following(store) as follower:
        follower.begin(watch(burn, "shed"))
        follower.begin(watch(burn))
        call, called = follower._apart.call, asyncio.Event()

        async def heard(*arguments: Any, limit_s: float) -> object:
            called.set()
            return await call(*arguments, limit_s=limit_s)

        monkeypatch.setattr(follower._apart, "call", heard)
        first = asyncio.create_task(follower.turn("shed"))
        given_up = asyncio.create_task(follower.turn(BENCH))
        await called.wait()
        given_up.cancel()
        await first
        with pytest.raises(asyncio.CancelledError):
            await given_up
        with pytest.raises(BegunAnewError):
            await follower.turn(BENCH)
        follower.begin(watch(burn))
        while not (turn := await follower.turn(BENCH)).said and turn.more:
            pass
    assert [one.kind for one in turn.said] == [EventKind.LIT]


async def test_what_fails_in_a_turn_of_one_bench_is_told_to_it_alone(store: Store, burn: Recording) -> None:
    flat = stored_burn.bench(burn)
    channels = tuple(
        replace(one, calibration=ThermocoupleCode("K", 0.25, 41.276)) if one.role is Role.WATER else one
        for one in flat.channels
    )
    stored_burn.fill(store, burn, until_s=10.0)
    async with following(store) as follower:
        follower.begin(replace(watch(burn), bench_text=bench_text(replace(flat, channels=channels))))
        follower.begin(watch(burn, "shed"))
        failed, quiet = await asyncio.gather(follower.turn(BENCH), follower.turn("shed"), return_exceptions=True)
    assert isinstance(failed, ApartError)
    assert "cold junction" in str(failed)
    assert not isinstance(quiet, BaseException)
