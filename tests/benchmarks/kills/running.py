"""One burn under a daemon that is killed again and again."""

import asyncio
import random
import signal
import time
from dataclasses import dataclass
from pathlib import Path

from broker_fixture import Broker
from conservation import Account, account, check_replay
from daemon_fixture import DaemonProcess, daemon_process
from emberline import app
from emberline.store.errors import StoreError
from emberline.store.reader import StoreReader
from live_fixture import simulated_bench

LENGTH_S = 560.0
"""The whole burn with its flameout."""
SPEED = 20.0
LONGEST_S, LONGEST_STARTS = 4.0, 3.0
"""Longest life of a daemon: real seconds, and times what its start takes here, so that some die before they record."""
KEEPING = ("--ring", "3000", "--linger", "900")
"""More than the burn, and longer than any kill: what is tested is the host, however slow the machine."""
LIMIT_S = 300.0


@dataclass(frozen=True)
class Round:
    """What became of one burn.

    Attributes:
        folder: Where it was.
        kills: Kills.
        starting: Kills of a daemon that did not answer yet.
        summing: Kills after the burn, when a summary was due.
        account: Where its samples went.
        events: Kinds of the events in its summary.
        replay: What a replay does differently; empty where it agrees.
    """

    folder: Path
    kills: int
    starting: int
    summing: int
    account: Account
    events: tuple[str, ...]
    replay: str


async def burn_with_kills(
    folder: Path,
    dice: random.Random,
    kills: int,
    broker: Broker | None,
    speed: float = SPEED,
    *,
    in_order: bool = False,
) -> Round:
    """Record a burn with its trial under a daemon that is killed, and look at what is stored.

    Args:
        folder: An empty folder, or none yet.
        dice: Says when.
        kills: How often; those that the burn is too short for come while its summary is worked out.
        broker: The broker by which the device is reached; None for a serial port.
        speed: Pace of the bench.
        in_order: Whether it is asked to end instead, and must then end in order.
    """
    data = folder / "data"
    await asyncio.to_thread(folder.mkdir, parents=True, exist_ok=True)
    named = None if broker is None else broker.address
    starting = summing = 0
    async with simulated_bench(folder / "bench", *KEEPING, broker=named, duration_s=LENGTH_S, speed=speed) as bench:
        way = ("--port", str(bench.port)) if broker is None else ("--broker", broker.address)
        async with daemon_process(data, *way, "--speed", f"{speed:g}", "--no-http") as daemon:
            began_s = time.monotonic()
            await daemon.stores_more(0, LIMIT_S)
            longest_s = max(LONGEST_S, LONGEST_STARTS * (time.monotonic() - began_s))
            await daemon.told({"do": "arm", "plan": bench.plan, "label": None}, LIMIT_S)
            ended = False
            for _ in range(kills):
                await asyncio.sleep(dice.uniform(0.0, longest_s))
                if bench.process.returncode is not None and not ended:
                    await daemon.told({"do": "end"}, LIMIT_S)
                    ended = True
                    await asyncio.sleep(dice.uniform(0.0, longest_s))
                summing += ended
                answers = await daemon.health() is not None
                starting += not answers
                if in_order:
                    code = await daemon.stop()
                    # Before its first word it has nothing to put in order, and ends by the signal itself.
                    assert code == 0 or (not answers and code == -signal.SIGTERM), f"it ended with code {code}"
                else:
                    await daemon.kill()
                await daemon.start()
            await bench.process.wait()
            if not ended:
                await daemon.told({"do": "end"}, LIMIT_S)
            await summary_kept(daemon)
            await daemon.answers(LIMIT_S)
            assert await daemon.stop() == 0, "the daemon did not end in order"
        assert "Traceback" not in daemon.log.read_text()
        found = account(bench, data)
    events: tuple[str, ...] = ()
    replay = ""
    try:
        events = tuple(check_replay(data))
    except AssertionError as error:
        replay = str(error)
    return Round(folder, kills, starting, summing, found, events, replay)


async def summary_kept(daemon: DaemonProcess) -> None:
    """Wait until all trials of a daemon's bench have ended, and their summaries rest on all that is stored."""
    store = StoreReader(daemon.data / app.STORE_NAME)

    def kept() -> bool:
        try:
            return bool(store.trials()) and not store.pasts(["bench"])["bench"].unfinished
        except StoreError:
            return False

    try:
        async with asyncio.timeout(LIMIT_S):
            while not await asyncio.to_thread(kept):  # noqa: ASYNC110 it is in another process
                await asyncio.sleep(0.1)
    except TimeoutError:
        raise AssertionError(f"no summary within {LIMIT_S:.0f} s: {await daemon.health()}") from None
