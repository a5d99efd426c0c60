"""A stove tips over on a bench that is recorded: the terminal and the broker tell it until somebody has seen it."""

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from broker_fixture import Broker
from daemon_fixture import EMBERLINE, daemon_process
from live_fixture import end_worker_threads, simulated_bench, until
from tipping_fixture import tipping_options

SPEED = 30.0
RECORD_S = 1_500.0


@pytest.fixture(autouse=True)
async def no_worker_left() -> AsyncIterator[None]:
    yield
    await end_worker_threads()


@pytest.mark.timeout(150)
async def test_a_stove_that_tips_over_is_told_until_somebody_has_seen_it(tmp_path: Path, broker: Broker) -> None:
    data, heard = tmp_path / "data", []
    client = paho.Client(CallbackAPIVersion.VERSION2, "viewer")
    client.on_message = lambda _client, _data, message: heard.append(json.loads(message.payload))
    client.connect(broker.host, broker.port)
    client.subscribe("emberline/v1/bench/live")
    client.loop_start()
    options = tipping_options(tmp_path, RECORD_S)
    place = f'[serial]\nport = "{tmp_path}/bench/port"\n[mqtt]\nhost = "{broker.host}"\nport = {broker.port}\n'
    channels = "".join(f'[[channel]]\nrole = "{role}"\n' for role in ("water", "flame", "mass"))
    (tmp_path / "bench.toml").write_text(channels + place)
    words = ("--bench", str(tmp_path / "bench.toml"), "--speed", f"{SPEED:g}", "--no-http")
    async with (
        simulated_bench(tmp_path / "bench", *options, duration_s=RECORD_S, speed=SPEED),
        daemon_process(data, *words) as daemon,
    ):
        await daemon.stores_more(0)
        watching = await asyncio.create_subprocess_exec(
            EMBERLINE, "watch", "--data", str(data), stdout=asyncio.subprocess.PIPE
        )
        assert watching.stdout is not None
        async with asyncio.timeout(90.0):
            line = ""
            while not line.startswith("  !! "):
                line = (await watching.stdout.readline()).decode()
        assert line.startswith("  !! The load is gone: the stove may have tipped over. The load fell from")
        asked = await asyncio.create_subprocess_exec(
            EMBERLINE, "acknowledge", "--by", "Ada", "--data", str(data), stdout=asyncio.subprocess.PIPE
        )
        out, _ = await asked.communicate()
        assert out.decode() == "Acknowledged: The load is gone: the stove may have tipped over\n"
        async with asyncio.timeout(30.0):
            while not line.startswith("  !! acknowledged by Ada"):
                line = (await watching.stdout.readline()).decode()
        watching.terminate()
        await watching.communicate()
        live = (await daemon.told({"do": "live"}))["live"]
        assert [one["kind"] for one in live["alarms"]] == ["load_gone"]
        await until(
            lambda: any(one["alarms"] and one["alarms"][0]["acknowledged_by"] == "Ada" for one in heard),
            "the alarm by way of the broker",
        )
    client.disconnect()
    client.loop_stop()
