"""The benchmark of many benches measures what it says: its packets are MQTT, its frames are those of a burn."""

import socket
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from benchmarks.benches import packets
from benchmarks.benches.__main__ import judged_by, main
from benchmarks.benches.baseline import cores
from benchmarks.benches.burns import EACH, KEPT_S, STATUS_EVERY_S, Burns, groups
from benchmarks.benches.running import Found, Needs, run
from broker_fixture import Broker
from emberline_wire import Samples, decode_body, decode_message, unseal
from live_fixture import end_worker_threads


def test_packets_are_split_wherever_the_bytes_are_cut() -> None:
    sent = packets.publish(b"a/down", 7, b"x" * 300) + b"\x40\x02\x00\x07" + packets.publish(b"b/down", 8, b"y")
    for size in (1, 2, 3, 50, 1000):
        splitter, found = packets.Splitter(), list[packets.Incoming]()
        for at in range(0, len(sent), size):
            found += splitter.feed(sent[at : at + size])
        assert [one.kind for one in found] == [packets.PUBLISH, packets.PUBACK, packets.PUBLISH]
        assert [(one.topic, one.payload) for one in (found[0], found[2])] == [
            (b"a/down", b"x" * 300),
            (b"b/down", b"y"),
        ]


def test_a_client_library_reads_a_message_as_it_was_meant(broker: Broker) -> None:
    """The library is the other implementation of the standard that the packets are held against."""
    heard: list[paho.MQTTMessage] = []
    reader = paho.Client(CallbackAPIVersion.VERSION2, "reader", protocol=MQTTProtocolVersion.MQTTv5)
    reader.on_message = lambda _client, _data, message: heard.append(message)
    granted: list[int] = []
    reader.on_subscribe = lambda *_: granted.append(1)
    reader.connect(broker.host, broker.port)
    reader.subscribe("emberline/v1/+/up", qos=1)
    while not granted:
        reader.loop(0.1)
    with socket.create_connection((broker.host, broker.port)) as device:
        device.sendall(packets.connect("load", 60))
        device.sendall(packets.publish(b"emberline/v1/bench-7/up", 9, b"frame", packets.EXPIRY))
        while not heard:
            reader.loop(0.1)
    reader.disconnect()
    (message,) = heard
    assert (message.topic, message.payload, message.qos) == ("emberline/v1/bench-7/up", b"frame", 1)
    assert message.properties is not None
    assert 604_000 < getattr(message.properties, "MessageExpiryInterval", 0) <= 604_800


def test_benches_that_burn_send_the_burn_and_idle_ones_what_was_before_it() -> None:
    mass: dict[Burns, list[int]] = {}
    for burns in Burns:
        hello, made = groups(5, burns, 60.0)
        place = [channel.name for channel in hello.channels].index("mass")
        mass[burns] = []
        for number in range(300):
            second = made[0].second(number)
            frame = decode_message(second.samples[place])
            assert isinstance(frame, Samples)
            sent = decode_body(unseal(second.packet))
            assert [one.to_bytes() for one in sent if isinstance(one, Samples)] == list(second.samples)
            assert len(sent) == len(second.samples) + (number % STATUS_EVERY_S == 0)
            assert frame.first_seq == EACH * number
            assert frame.next_seq == second.next_seq == EACH * (number + 1)
            assert frame.oldest_seq == EACH * max(0, number - KEPT_S + 1)
            mass[burns].append(int(frame.values[0]))
    assert mass[Burns.ALL] == mass[Burns.SPREAD]  # the first group is lit first
    assert mass[Burns.ALL][-1] < mass[Burns.IDLE][-1] - 1_000
    assert set(mass[Burns.IDLE][20:]) == set(mass[Burns.IDLE][:20])


def told(lags_s: list[list[float]], stored: int) -> Found:
    needs = Needs(
        t_s=[0.0, 10.0, 20.0],
        daemon_s=[0.0, 5.0, 10.0],
        loop_s=[0.0, 4.0, 8.0],
        started_s=[0.0, 5.0, 15.0],
        broker_s=[0.0, 1.0, 2.0],
        devices_s=[0.0, 1.0, 2.0],
        daemon_mb=[90.0, 100.0, 110.0],
        all_mb=[200.0, 210.0, 220.0],
    )
    devices = {
        "samples_sent": 1000,
        "samples_sent_again": 0,
        "packets_sent": 100,
        "late_s": 0.0,
        "lag_s": lags_s,
        "lag_all_s": [0.2, 1.1, 9.0],
    }
    return Found(1000, devices, stored, 0, 0, [2.0, 3.0, 9.0], needs, 90.0)


def test_what_is_missed_is_judged() -> None:
    figures, bars = judged_by(told([[0.2, 4.0, 5.0], *[[0.2, 0.4, 0.5]] * 2], 1000), 0.5)
    assert [bar.name for bar in bars if not bar.holds] == ["lag of 99 of 100, of all"]
    assert figures["of these, of its event loop"] == pytest.approx(0.4)
    assert figures["each bench and second: daemon, processes that it starts (ms)"] == "0.50, 1.00"
    assert figures["following behind the newest reading at the end, median and most (s)"] == "3.0, 9.0"
    _, bars = judged_by(told([[0.2, 0.4, 0.5], [0.3, 1.2, 2.0], [0.9, 1.5, 2.0], [9.0, 9.0, 9.0]], 990), 0.5)
    missed = {bar.name: bar.value for bar in bars if not bar.holds}
    assert missed == pytest.approx(
        {
            "samples unaccounted for": 10,
            "lag of 99 of 100, of all": 1.1,
            "lag of 99 of 100, worst minute after the greeting": 9.0,
            "lag, last minute over first": 4.5,
        }
    )


@pytest.mark.parametrize(("end_mb", "holds"), [(230.0, True), (240.0, False)])
def test_memory_is_judged_once_all_burn(end_mb: float, holds: bool) -> None:
    found = told([[0.2, 0.4, 0.5]] * 10, 1000)
    needs = replace(found.needs, t_s=[0.0, 310.0, 620.0], all_mb=[200.0, 210.0, end_mb])
    _, bars = judged_by(replace(found, needs=needs), 0.5)
    assert [bar.holds for bar in bars if bar.name == "memory with all processes, end over middle"] == [holds]
    _, bars = judged_by(found, 0.5)
    assert all("end over middle" not in bar.name for bar in bars)


def test_the_baseline_takes_longer_for_more_benches(tmp_path: Path) -> None:
    (tmp_path / "few").mkdir()
    (tmp_path / "many").mkdir()
    assert cores(tmp_path / "few", 10) < cores(tmp_path / "many", 400)


@pytest.mark.timeout(180)
async def test_twenty_benches_are_recorded_without_a_loss(tmp_path: Path, broker: Broker) -> None:
    del broker  # skips where there is no such program; the benchmark runs its own
    found = await run(tmp_path, 20, 8.0, Burns.ALL)
    assert found.devices["samples_sent"] == 20 * 8 * 4 * EACH
    assert (found.unaccounted, found.lost) == (0, 0)
    assert found.devices["samples_acknowledged"] == found.devices["samples_sent"]
    assert found.needs.daemon_s[-1] > found.needs.daemon_s[0]
    assert 0.0 < found.needs.loop_s[-1] <= found.needs.daemon_s[-1]
    await end_worker_threads()


def test_the_command_says_what_it_does_and_refuses_numbers_that_are_none() -> None:
    runner = CliRunner()
    assert "spread" in runner.invoke(main, ["--help"]).output
    refused = runner.invoke(main, ["--burns", "all", "--ramp", "10,many"])
    assert refused.exit_code == 2
    assert "write numbers with commas" in refused.output
