"""The daemon on a real broker: a whole burn, faults of all that take part, and nothing lost without a word."""

import asyncio
import base64
import json
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cbor2
import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from broker_fixture import Broker
from conservation import check
from emberline import app
from emberline.bench.samples import FLAG_ARRIVAL_STAMPED
from emberline.links.link import LinkState
from emberline.store.reader import StoreReader
from live_fixture import SimulatedBench, simulated_bench, until

if TYPE_CHECKING:
    from emberline.service.daemon import Daemon

# Seconds each where nobody else wants the machine.
pytestmark = pytest.mark.timeout(180)

LENGTH_S = 190.0
"""Long enough for faults, too short for a burn."""
SPEED = 30.0
LABEL = "A handful of sticks under a cup of water"


async def record(
    bench: SimulatedBench,
    data: Path,
    broker: Broker,
    meanwhile: "Callable[[Daemon], Any] | None" = None,
    **options: Any,
) -> None:
    """Record until the simulated bench has ended and all that it sent is stored."""

    async def beside(daemon: "Daemon") -> None:
        if meanwhile is not None:
            await meanwhile(daemon)
        await bench.process.wait()
        await asyncio.sleep(0.2)

    await app.serve(data, broker=broker.address, speed=options.pop("speed", SPEED), beside=beside, **options)


def bench_behind(broker: Broker, folder: Path, *options: str, **more: Any) -> Any:
    return simulated_bench(folder, "--ring", "600", *options, broker=broker.address, speed=SPEED, **more)


async def more(daemon: "Daemon", samples: int) -> None:
    """Wait until so many samples more are stored."""
    before = daemon.lanes["bench"].ingest.counts.committed
    await until(lambda: daemon.lanes["bench"].ingest.counts.committed >= before + samples, "new readings")


class Viewer:
    """Hears everything on a bench's topics."""

    def __init__(self, broker: Broker) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self._client = paho.Client(CallbackAPIVersion.VERSION2, "viewer")
        self._client.on_message = self._hear
        self._client.connect(broker.host, broker.port)
        self._client.subscribe("emberline/v1/bench/#", qos=1)
        self._client.loop_start()

    def _hear(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        self.heard.append((message.topic.rpartition("/")[2], bytes(message.payload), message.retain))

    def documents(self, name: str) -> list[Any]:
        return [json.loads(payload) for topic, payload, _ in self.heard if topic == name]

    def __enter__(self) -> "Viewer":
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()


async def test_a_whole_burn_by_way_of_a_broker_ends_in_a_summary_that_is_published(
    tmp_path: Path, broker: Broker
) -> None:
    data = tmp_path / "data"
    with Viewer(broker) as viewer:
        options = ("--ring", "3000")
        async with simulated_bench(tmp_path / "bench", *options, broker=broker.address, duration_s=560.0) as bench:

            async def arm(daemon: "Daemon") -> None:
                await until(lambda: daemon.lanes["bench"].ingest.counts.committed > 0, "the first reading")
                await daemon.lanes["bench"].keeper.arm(bench.plan, None)
                await bench.process.wait()
                await daemon.lanes["bench"].finish_trial()
                await until(lambda: bool(viewer.documents("summary")), "the summary")

            await record(bench, data, broker, arm, speed=60.0)
            check(bench, data, lost=False)
        summary = viewer.documents("summary")[-1]
        assert summary["label"] == LABEL
        assert {"lit", "pot_on", "boil", "pot_off", "flameout"} <= {event["kind"] for event in summary["events"]}
        # Which events are announced before the end hangs on how busy the machine is.
        assert {"lit", "summary"} <= {document["kind"] for document in viewer.documents("event")}
        assert {document["schema"] for document in viewer.documents("live")} == {"emberline.live/1"}
        health = viewer.documents("health")
        assert any(document["recording"] == "recording" for document in health)
        assert (health[-1]["recording"], health[-1]["why"]) == ("not recording", "the program was ended")
    # Retained for whoever comes later.
    with Viewer(broker) as late:
        await until(lambda: len({name for name, _, _ in late.heard}) >= 3, "what the broker keeps")
        assert {"summary", "health", "alarms", "hello", "online"} >= {name for name, _, kept in late.heard if kept}
        assert late.documents("summary")[0]["label"] == LABEL


@pytest.mark.parametrize("remembers", [False, True], ids=["without memory", "with memory"])
async def test_a_broker_that_restarts_costs_no_sample(tmp_path: Path, remembers: bool) -> None:
    broker = Broker(tmp_path / "broker", persistence=remembers)
    broker.start()

    async def restart(daemon: "Daemon") -> None:
        for _ in range(2):
            await more(daemon, 200)
            await asyncio.to_thread(broker.stop)
            await until(lambda: daemon.lanes["bench"].link.state is LinkState.WAITING, "the loss to be noticed")
            await asyncio.to_thread(broker.start)
            again_s = time.monotonic()
            await more(daemon, 1)
            assert time.monotonic() - again_s < 5.0

    try:
        async with bench_behind(broker, tmp_path / "bench", duration_s=LENGTH_S) as bench:
            await record(bench, tmp_path / "data", broker, restart)
            check(bench, tmp_path / "data", lost=False)
    finally:
        broker.kill()


async def test_a_broker_that_freezes_costs_no_sample(tmp_path: Path, broker: Broker) -> None:
    async def freeze(daemon: "Daemon") -> None:
        await until(lambda: daemon.lanes["bench"].ingest.counts.committed > 300, "some readings")
        broker.freeze()
        await until(
            lambda: daemon.lanes["bench"].link.state in (LinkState.WAITING, LinkState.REACHING),
            "the connection to be given up",
        )
        broker.thaw()
        await more(daemon, 1)

    async with bench_behind(broker, tmp_path / "bench", duration_s=LENGTH_S) as bench:
        await record(bench, tmp_path / "data", broker, freeze)
        check(bench, tmp_path / "data", lost=False)


async def test_a_broker_that_comes_later_is_waited_for(tmp_path: Path) -> None:
    broker = Broker(tmp_path / "broker")

    async def come(daemon: "Daemon") -> None:
        await until(lambda: "no broker answers" in daemon.lanes["bench"].link.trouble, "the trouble")
        await asyncio.to_thread(broker.start)

    try:
        async with bench_behind(broker, tmp_path / "bench", duration_s=60.0) as bench:
            await record(bench, tmp_path / "data", broker, come)
            check(bench, tmp_path / "data", lost=False)
    finally:
        broker.kill()


@pytest.mark.parametrize(
    "options",
    [
        ("--fault", "junk@0:3000", "--fault", "junk@50:500", "--at-once"),
        ("--drift-ppm", "200"),
    ],
    ids=["junk", "drift"],
)
async def test_a_device_in_trouble_costs_no_sample(tmp_path: Path, broker: Broker, options: tuple[str, ...]) -> None:
    async with bench_behind(broker, tmp_path / "bench", *options, duration_s=LENGTH_S) as bench:
        await record(bench, tmp_path / "data", broker)
        check(bench, tmp_path / "data", lost=False)


async def test_what_a_device_overwrites_while_the_broker_is_away_is_flagged(tmp_path: Path, broker: Broker) -> None:
    options = ("--fault", "unplug@50:60", "--ring", "20")
    async with bench_behind(broker, tmp_path / "bench", *options, duration_s=LENGTH_S) as bench:
        await record(bench, tmp_path / "data", broker)
        check(bench, tmp_path / "data", lost=True)


async def test_a_daemon_that_was_away_finds_in_the_broker_what_the_device_forgot(
    tmp_path: Path, broker: Broker
) -> None:
    data = tmp_path / "data"
    async with bench_behind(broker, tmp_path / "bench", "--ring", "60", duration_s=2.0 * LENGTH_S) as bench:

        async def for_a_while(daemon: "Daemon") -> None:
            await until(lambda: daemon.lanes["bench"].ingest.counts.committed > 300, "some readings")

        await app.serve(data, broker=broker.address, speed=SPEED, beside=for_a_while)
        # Two minutes of the bench: its ring holds one, so that a device that seldom gets to run loses nothing itself.
        await asyncio.sleep(120.0 / SPEED)
        await record(bench, data, broker)
        check(bench, data, lost=False)


async def test_two_daemons_on_copies_of_one_folder_are_told(tmp_path: Path, broker: Broker) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "broker-name.txt").write_text("emberline0123456789abcd\n")
    daemons: list[Daemon] = []

    async def serve(name: str) -> None:
        async def beside(daemon: "Daemon") -> None:
            daemons.append(daemon)
            await until(
                lambda: (
                    len(daemons) == 2 and any("second Emberline" in one.lanes["bench"].link.trouble for one in daemons)
                ),
                "one of them to stand back",
                40.0,
            )

        await app.serve(tmp_path / name, broker=broker.address, beside=beside)

    async with asyncio.TaskGroup() as group:
        group.create_task(serve("one"))
        group.create_task(serve("two"))


async def test_one_broker_serves_several_benches_of_one_daemon_each_on_its_own_topics(
    tmp_path: Path, broker: Broker
) -> None:
    data, files = tmp_path / "data", []
    for name in ("yard", "shed"):
        files.append(tmp_path / f"{name}.toml")
        channels = "".join(f'[[channel]]\nrole = "{role}"\n' for role in ("water", "flame", "mass"))
        files[-1].write_text(f'id = "{name}"\n{channels}')
    async with (
        bench_behind(broker, tmp_path / "yard", "--bench", "yard", duration_s=60.0) as yard,
        bench_behind(broker, tmp_path / "shed", "--bench", "shed", "--seed", "5", duration_s=60.0) as shed,
    ):

        async def beside(_: "Daemon") -> None:
            await yard.process.wait()
            await shed.process.wait()
            await asyncio.sleep(0.2)

        await app.serve(data, bench_files=files, broker=broker.address, speed=SPEED, beside=beside)
        check(yard, data, "yard", lost=False)
        check(shed, data, "shed", lost=False)


def openssl(folder: Path, *words: str) -> None:
    subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)


def certificates(folder: Path) -> None:
    """Make an authority, and certificates of a broker on this machine and of a host, valid for a day."""
    folder.mkdir(parents=True, exist_ok=True)
    new = ["req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    openssl(folder, *new, "-x509", "-days", "1", "-keyout", "ca.key", "-out", "ca.crt", "-subj", "/CN=test authority")
    (folder / "names").write_text("subjectAltName=IP:127.0.0.1,DNS:localhost\n")
    for name in ("broker", "host"):
        openssl(folder, *new, "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}")
        openssl(
            folder,
            *("x509", "-req", "-in", f"{name}.csr", "-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial"),
            *("-days", "1", "-out", f"{name}.crt", "-extfile", "names"),
        )


def encrypted(folder: Path) -> str:
    return f"cafile {folder}/ca.crt\ncertfile {folder}/broker.crt\nkeyfile {folder}/broker.key\n"


def account(folder: Path, user: str, password: str) -> None:
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(folder / "accounts"), user, password], check=True)


def bench_file(folder: Path, broker: Broker, *lines: str) -> Path:
    path = folder / "bench.toml"
    channels = "".join(f'[[channel]]\nrole = "{role}"\n' for role in ("water", "flame", "mass"))
    path.write_text(f'{channels}[mqtt]\nhost = "{broker.host}"\nport = {broker.port}\n' + "\n".join(lines) + "\n")
    return path


async def test_a_burn_by_way_of_an_encrypted_broker_with_accounts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "broker"
    await asyncio.to_thread(certificates, folder)
    await asyncio.to_thread(account, folder, "ember", "s3cret")
    broker = Broker(folder, more=encrypted(folder) + f"allow_anonymous false\npassword_file {folder}/accounts\n")
    broker.start()
    (tmp_path / "word").write_text("s3cret\n")
    path = bench_file(tmp_path, broker, "ca_file = 'broker/ca.crt'", "user = 'ember'", "password_file = 'word'")
    monkeypatch.setenv("EMBERLINE_SIM_MQTT_PASSWORD", "s3cret")
    options = ("--mqtt-ca", str(folder / "ca.crt"), "--mqtt-user", "ember")
    try:
        async with bench_behind(broker, tmp_path / "bench", *options, duration_s=60.0) as bench:

            async def beside(_: "Daemon") -> None:
                await bench.process.wait()
                await asyncio.sleep(0.2)

            await app.serve(tmp_path / "data", bench_files=(path,), speed=SPEED, beside=beside)
            check(bench, tmp_path / "data", lost=False)
    finally:
        broker.kill()


async def test_a_broker_that_knows_its_people_by_certificate(tmp_path: Path) -> None:
    folder = tmp_path / "broker"
    await asyncio.to_thread(certificates, folder)
    await asyncio.to_thread(certificates, tmp_path / "strangers")
    broker = Broker(folder, more=encrypted(folder) + "require_certificate true\nuse_identity_as_username true\n")
    broker.start()
    named = ("certificate_file = 'broker/host.crt'", "key_file = 'broker/host.key'")

    async def trouble(*lines: str) -> str:
        said: list[str] = []

        async def beside(daemon: "Daemon") -> None:
            await until(
                lambda: (
                    daemon.lanes["bench"].link.trouble != "" or daemon.lanes["bench"].link.state is LinkState.ASKING
                ),
                "an answer",
            )
            said.append(daemon.lanes["bench"].link.trouble)

        await app.serve(tmp_path / "data", bench_files=(bench_file(tmp_path, broker, *lines),), beside=beside)
        return said[0]

    try:
        assert await trouble("ca_file = 'broker/ca.crt'", *named) == ""
        assert "name the authority that vouches for it with ca_file" in await trouble("tls = true", *named)
        assert "not to be trusted" in await trouble("ca_file = 'strangers/ca.crt'", *named)
        assert await trouble("ca_file = 'broker/ca.crt'") != ""
        assert "does it want TLS" in await trouble("tls = false")
    finally:
        broker.kill()


async def test_readings_over_a_serial_port_are_told_to_a_broker(tmp_path: Path, broker: Broker) -> None:
    data = tmp_path / "data"
    with Viewer(broker) as viewer:
        async with simulated_bench(tmp_path / "bench", duration_s=60.0) as bench:

            async def beside(_: "Daemon") -> None:
                await bench.process.wait()
                await asyncio.sleep(0.2)

            path = bench_file(tmp_path, broker)
            await app.serve(data, bench_files=(path,), port=str(bench.port), speed=60.0, beside=beside)
            check(bench, data, lost=False)
        await until(lambda: bool(viewer.documents("live")), "the state")
        assert viewer.documents("live")[-1]["values"].keys() == {"water", "flame", "mass"}


async def test_readings_as_senml_are_kept_shown_and_acknowledged_and_a_repeat_is_not(
    tmp_path: Path, broker: Broker
) -> None:
    data, start_s = tmp_path / "data", 1_790_000_000
    client = paho.Client(CallbackAPIVersion.VERSION2, "gateway")
    client.connect(broker.host, broker.port)
    client.loop_start()

    def send(payload: bytes) -> None:
        client.publish("emberline/v1/bench/senml", payload, qos=1).wait_for_publish(5.0)

    def pack(second: int) -> list[dict[str, Any]]:
        base = {"bn": "urn:dev:mac:0024befffe804ff1/", "bt": start_s + second}
        return [{**base, "n": "water", "u": "Cel", "v": 20 + second}, {"n": "mass", "u": "kg", "v": 1.5}]

    async def beside(daemon: "Daemon") -> None:
        await until(lambda: daemon.lanes["bench"].link.state is LinkState.ASKING, "the connection")
        for second in range(5):
            await asyncio.to_thread(send, json.dumps(pack(second)).encode())
        cbor = cbor2.dumps([{-2: "urn:dev:mac:0024befffe804ff1/", -3: start_s + 5, 0: "water", 1: "K", 2: 298.15}])
        await asyncio.to_thread(send, cbor)
        await asyncio.to_thread(send, json.dumps(pack(3)).encode())
        await asyncio.to_thread(send, b"[{}")
        await asyncio.to_thread(send, json.dumps([{"n": "ambient", "u": "Cel", "v": 18}]).encode())
        await until(lambda: daemon.lanes["bench"].ingest.counts.committed == 12, "all readings")
        assert daemon.lanes["bench"].ingest.counts.repeated == 2
        await until(
            lambda: daemon.lanes["bench"].board.document()["values"].keys() == {"water", "mass", "ambient"},
            "the values",
        )
        assert daemon.lanes["bench"].board.document()["values"]["mass"]["value"] == 1500.0
        assert daemon.lanes["bench"].link.discarded == 1
        (unread,) = (data / "unread-bench.jsonl").read_text().splitlines()
        assert json.loads(unread)["topic"] == "emberline/v1/bench/senml"
        assert base64.b64decode(json.loads(unread)["payload"]) == b"[{}"

    try:
        await app.serve(data, broker=broker.address, beside=beside)
        # Sent again after a restart, all of it is known.
        await asyncio.to_thread(send, json.dumps(pack(4)).encode())

        async def again(daemon: "Daemon") -> None:
            await until(lambda: daemon.lanes["bench"].ingest.counts.repeated == 2, "the repeat to be known")

        await app.serve(data, broker=broker.address, beside=again)
    finally:
        client.disconnect()
        client.loop_stop()
    batches = list(StoreReader(data / app.STORE_NAME).batches("bench"))
    assert {batch.device for batch in batches} == {"bench/urn:dev:mac:0024befffe804ff1", "bench/senml"}
    water = sorted(
        (int(t), float(v)) for b in batches if b.channel == "water" for t, v in zip(b.t_ns, b.raw, strict=True)
    )
    assert [t_ns // 1_000_000_000 - start_s for t_ns, _ in water] == [0, 1, 2, 3, 4, 5]
    assert [round(value, 3) for _, value in water] == [20, 21, 22, 23, 24, 25]
    (ambient,) = (batch for batch in batches if batch.channel == "ambient")
    assert ambient.flags.tolist() == [FLAG_ARRIVAL_STAMPED]
