"""A guided burn from the empty scale to its summary, by `emberline arm --guided` as a person types it."""

import asyncio
import json
import os
import pty
import select
import signal
import time
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest

from conversation_fixture import LIMIT_S, Conversation, conversation
from daemon_fixture import EMBERLINE
from emberline.app.stored import STORE_NAME
from emberline.bench.plan import parse_plan
from emberline.store.reader import StoreReader
from guided_fixture import FUEL_G, POT_G, STARTER_G, STOVE_G, WATER_G, HandledBench, handled_bench


def guided(bench: HandledBench) -> AbstractAsyncContextManager[Conversation]:
    """Return a guided burn at a bench, from its first question on."""
    return conversation("arm", "--guided", "--data", str(bench.daemon.data))


@pytest.mark.timeout(240)
async def test_from_the_empty_scale_to_the_finished_summary(tmp_path: Path) -> None:
    async with handled_bench(tmp_path) as bench:
        async with guided(bench) as it:
            await it.hears("With a pot?")
            it.types("y")
            await it.hears("Kindling")
            it.types("n")
            await it.hears("What you vary")
            it.types("holes = 12")
            await it.hears("What you vary")
            it.types()
            await it.hears("Name of the trial")
            it.types("sticks, first")

            await it.hears("Empty scale: Take everything off")
            it.types()
            await it.hears("Known mass: Put a mass")
            bench.does("put 200")
            it.types("200")
            await it.hears("within what the calibration allows")
            await it.hears("Water probe:")
            bench.does("clear")
            bench.does("dip")
            await bench.shows(0.0)
            it.types()
            for title, grams in (("Empty stove", STOVE_G), ("Fuel", FUEL_G), ("Starter", STARTER_G)):
                await it.hears(f"{title}: ")
                bench.does(f"put {grams}")
                it.types()
            await it.hears("Empty pot: ")
        # The command is broken off and the daemon restarted: nothing that was answered is lost.
        assert await bench.daemon.stop() == 0
        await bench.daemon.start()
        await bench.shows(STOVE_G + FUEL_G + STARTER_G)
        async with guided(bench) as it:
            await it.hears("Empty pot: ")
            bench.does(f"put {POT_G}")
            it.types()
            await it.hears("Water: ")
            bench.does(f"put {WATER_G}")
            it.types()
            await it.hears("Place: ")
            it.types("200")
            await it.hears("air pressure")
            it.types()
            await it.hears("air temperature")
            it.types("21")
            await it.hears("Ready: ")
            bench.does(f"take {POT_G + WATER_G}")
            it.types()
            await it.hears("The burn: ")
            bench.does("light")
            await flame_out(bench)
            it.types()  # the guide has gone on by itself meanwhile
            await it.hears("Smother the char: ")
            it.types()
            await it.hears("Cold char: ")
            await it.hears("Caution: Char can rekindle")
            it.types("14.5")  # weighed the next day
            await it.hears("Unburnt wood: ")
            it.types("s")
            await it.hears("Empty scale again: ")
            bench.does("clear")
            it.types("s")
            await it.hears("Known mass again: ")
            it.types("s")
            await it.hears("End the trial now?")
            it.types("y")
            await it.hears("Left out:")
            await it.hears("Its summary: emberline summary")
            assert await it.ends() == 0
            assert "Traceback" not in it.said
        bench.does("end")
        store = StoreReader(bench.daemon.data / STORE_NAME)
        (trial,) = store.trials()
        await summed(store, trial.id)
        plan, document = parse_plan(trial.plan_text), json.loads(store.summary(trial.id).document)  # type: ignore[union-attr]
    assert (plan.label, plan.factors) == ("sticks, first", {"holes": "12"})
    for value, true_g in ((plan.fuel.mass_g, FUEL_G), (plan.fuel.starter_g, STARTER_G)):
        assert value is not None
        assert abs(value.n - true_g) < 3.0 * value.s
    assert plan.pot is not None
    assert plan.pot.tare_g is not None
    assert abs(plan.pot.tare_g.n - POT_G) < 3.0 * plan.pot.tare_g.s
    assert plan.fuel.char_left_g is not None
    assert plan.fuel.char_snuffed_s is not None
    assert plan.load_cell.shown_g is not None
    for name in ("time_to_boil", "burn_time", "thermal_efficiency"):
        assert name in document["results"], document["absent"].get(name)


async def flame_out(bench: HandledBench) -> None:
    """Wait until the guide has seen the flame go out."""
    async with asyncio.timeout(90.0):
        while (await bench.guide())["step"] == "burn":  # noqa: ASYNC110 it is in another process
            await asyncio.sleep(0.1)


async def summed(store: StoreReader, trial: str) -> None:
    """Wait until a trial's final summary is kept."""
    async with asyncio.timeout(90.0):
        while await asyncio.to_thread(store.summary, trial) is None:  # noqa: ASYNC110 it is in another process
            await asyncio.sleep(0.1)


@pytest.mark.timeout(120)
async def test_in_a_terminal_the_reading_is_drawn_live_and_enter_takes_it(tmp_path: Path) -> None:
    async with handled_bench(tmp_path) as bench:
        await bench.daemon.told({"do": "guide", "act": "begin", "with_pot": False})
        for _ in range(2):
            await bench.daemon.told({"do": "guide", "act": "skip"})
        screen = await asyncio.to_thread(typed_in_a_terminal, bench)
        assert "▀▀▀" in screen  # large figures
        assert "1 of" not in screen
        assert "Empty stove" in screen
        assert "Traceback" not in screen
        done = {one["step"]: one for one in (await bench.guide())["done"]}
        assert done["stove"]["how"] == "scale"
        assert float(done["stove"]["words"].split()[0]) == pytest.approx(STOVE_G, abs=6.0)


def typed_in_a_terminal(bench: HandledBench) -> str:
    """Press Enter, put the stove on, wait for the next question, and leave; return all that was drawn."""
    command = [EMBERLINE, "arm", "--guided", "--data", str(bench.daemon.data)]
    pid, screen = pty.fork()
    if pid == 0:
        os.environ.update(TERM="xterm-256color", COLUMNS="100", LINES="40")
        os.execv(command[0], command)  # noqa: S606 nothing of a shell is wanted
    drawn, stage, stop_s = "", 0, time.monotonic() + LIMIT_S
    while time.monotonic() < stop_s:
        if select.select([screen], [], [], 0.1)[0]:
            try:
                piece = os.read(screen, 65536)
            except OSError:
                break
            drawn += piece.decode(errors="replace")
        if stage == 0 and "on the scale" in drawn:
            os.write(screen, b"\n")
            stage = 1
        elif stage == 1 and "as soon as it is steady" in drawn:
            bench.does(f"put {STOVE_G}")
            stage = 2
        elif stage == 2 and "Put the fuel in" in drawn:
            os.write(screen, b"q\n")
            stage = 3
    os.close(screen)
    if stage < 3:
        os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    assert (stage, os.waitstatus_to_exitcode(status)) == (3, 0), drawn[-2000:]
    return drawn
