"""A stove tips over on a recorded bench: terminal, broker, command and service tell it until somebody has seen it."""

import asyncio
import json
import sys
import urllib.request
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from broker_fixture import Broker
from browser_fixture import pages_of, until_true
from conversation_fixture import said_by
from daemon_fixture import EMBERLINE, daemon_process
from emberline.app import STORE_NAME
from emberline.store.reader import StoreReader
from live_fixture import simulated_bench, until
from receiver_fixture import receiving
from tipping_fixture import tipping_options

SPEED = 30.0
RECORD_S = 1_500.0
RING = """
import os, sys
with open(sys.argv[1], "a", encoding="utf-8") as file:
    about = [os.environ[f"EMBERLINE_ALARM_{key}"] for key in ("HAPPENING", "KIND")]
    file.write(" ".join(about) + " " + sys.stdin.buffer.read().decode())
"""


@pytest.mark.timeout(150)
async def test_a_stove_that_tips_over_is_told_until_somebody_has_seen_it(tmp_path: Path, broker: Broker) -> None:
    data, heard = tmp_path / "data", list[dict[str, Any]]()
    client = paho.Client(CallbackAPIVersion.VERSION2, "viewer")
    client.on_message = lambda _client, _data, message: heard.append(json.loads(message.payload))
    client.connect(broker.host, broker.port)
    client.subscribe([("emberline/v1/bench/live", 0), ("emberline/v1/bench/alarms", 1)])
    client.loop_start()
    options = tipping_options(tmp_path, RECORD_S)
    place = f'[serial]\nport = "{tmp_path}/bench/port"\n[mqtt]\nhost = "{broker.host}"\nport = {broker.port}\n'
    channels = "".join(f'[[channel]]\nrole = "{role}"\n' for role in ("water", "flame", "mass"))
    (tmp_path / "bench.toml").write_text(channels + place)
    ring = tmp_path / "ring"
    ring.write_text(f"#!{sys.executable}\n{RING}")
    ring.chmod(0o755)
    (tmp_path / "alarms.toml").write_text(f'command = ["{ring}", "{tmp_path}/rung"]\nservices_file = "services"\n')
    words: tuple[str, ...] = ("--bench", str(tmp_path / "bench.toml"), "--speed", f"{SPEED:g}", "--http", "127.0.0.1:0")
    words += ("--alarms", str(tmp_path / "alarms.toml"))
    with receiving() as receiver:
        (tmp_path / "services").write_text(f"{receiver.url}\n")
        (tmp_path / "services").chmod(0o600)
        await _told_and_seen(tmp_path, data, words, options, heard)
        titles = [message["title"] for message in receiver.received]
    client.disconnect()
    client.loop_stop()
    title = "The load is gone: the stove may have tipped over (bench)"
    assert titles == [f"Alarm: {title}", f"Acknowledged: {title}"]
    rung = (tmp_path / "rung").read_text(encoding="utf-8")
    assert rung.startswith(f"raised load_gone Alarm: {title}\nThe load fell from")
    assert f"acknowledged load_gone Acknowledged: {title}" in rung
    assert "Acknowledged by Ada." in rung
    (kept,) = StoreReader(data / STORE_NAME).alarms("bench")
    assert (kept.kind, kept.acknowledged_by) == ("load_gone", "Ada")
    log = data.with_name(data.name + ".log").read_text(encoding="utf-8")
    assert "hush" not in log, "an address of a service is a secret"


async def _told_and_seen(
    tmp_path: Path, data: Path, words: tuple[str, ...], options: tuple[str, ...], heard: list[dict[str, Any]]
) -> None:
    """Have the stove tip over, see it told everywhere, and acknowledge it."""
    rung = tmp_path / "rung"
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
        _, out, _ = await said_by("acknowledge", "--by", "Ada", "--data", str(data))
        assert out == "Acknowledged: The load is gone: the stove may have tipped over\n"
        async with asyncio.timeout(30.0):
            while not line.startswith("  !! acknowledged by Ada"):
                line = (await watching.stdout.readline()).decode()
        watching.terminate()
        await watching.communicate()
        live = (await daemon.told({"do": "live"}))["live"]
        assert [one["kind"] for one in live["alarms"]] == ["load_gone"]
        await until(
            lambda: {one["schema"] for one in heard if _seen_by_ada(one)} == {"emberline.live/1", "emberline.alarms/1"},
            "the alarm by way of the broker",
        )
        await until(lambda: rung.exists() and "Acknowledged by Ada" in rung.read_text(), "the command", 60.0)
        url = await pages_of(daemon.log)
        figures = (await asyncio.to_thread(_fetched, f"{url}metrics")).splitlines()
        assert 'emberline_alarm{bench="bench",kind="load_gone"} 1.0' in figures
        assert 'emberline_alarms_unseen{bench="bench"} 0.0' in figures
        assert 'emberline_alarm_messages_total{way="the command ring"} 2.0' in figures
        service = 'emberline_alarm_messages_total{way="service 1"} 2.0'
        await until_true(lambda: _has(f"{url}metrics", service), "the service", 60.0)


def _seen_by_ada(document: Mapping[str, Any]) -> bool:
    return bool(document["alarms"]) and document["alarms"][0]["acknowledged_by"] == "Ada"


def _fetched(url: str) -> str:
    return str(urllib.request.urlopen(url, timeout=10).read().decode())  # noqa: S310 our own server


async def _has(url: str, line: str) -> bool:
    return line in (await asyncio.to_thread(_fetched, url)).splitlines()
