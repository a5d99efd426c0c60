"""The link against a simulated microcontroller on a pseudo-terminal, both in this process, sixty times as fast."""

import asyncio
import itertools
import logging
import random
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from emberline.bench.bench_file import SerialPort
from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Arrival, Greeting, Lost, Restart
from emberline.links.link import LinkState
from emberline.links.pauses import Pauses
from emberline.links.serial import SerialLink
from emberline.links.serial_talk import FramesTalk
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.microcontroller import Microcontroller
from emberline_sim.faults import Fault, FaultKind, Mischief
from emberline_sim.hookup import Hookup
from emberline_sim.ports import PtyPort
from emberline_wire import Event, Readings, Refused
from fast_clock import FastClock
from link_fixture import Host, running, wired
from live_fixture import end_worker_threads, until

SPEED = 60.0


@pytest.fixture(autouse=True)
async def no_worker_left() -> AsyncIterator[None]:
    yield
    await end_worker_threads()


class Bench:
    """A device on a pseudo-terminal, stepped by a task of this test's loop."""

    def __init__(self, link: Path, *faults: Fault, device: str = "dev") -> None:
        converters, blocks = wired()
        spec = DeviceSpec(device=device, ring_s=8.0 * SPEED)
        self.device = Microcontroller(spec, converters, blocks, itertools.count(1))
        self.port = PtyPort(link)
        self._hookup = Hookup(self.device, self.port, Mischief(faults, seed=1))

    async def run(self) -> None:
        began_s = time.monotonic()
        try:
            while True:
                self._hookup.step((time.monotonic() - began_s) * SPEED)
                await asyncio.sleep(0.002)
        finally:
            self.port.unplug()


def link_to(path: Path, kind: type[SerialLink] = SerialLink, **options: Any) -> SerialLink:
    wanted = SerialPort(port=str(path), device=options.pop("device", None), baud=options.pop("baud", 115_200))
    options.setdefault("pauses", Pauses(chance=random.Random(1)))
    return kind(wanted, options.pop("clock", FastClock(SPEED)), **options)


def frames(link: SerialLink) -> FramesTalk:
    assert isinstance(link.talk, FramesTalk)
    return link.talk


async def test_every_sample_of_every_stream_arrives_once_and_in_order(tmp_path: Path) -> None:
    bench, link = Bench(tmp_path / "port"), link_to(tmp_path / "port")
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: bench.device.exhausted and not bench.device.waiting, "the last acknowledgement")
        assert (link.state.name, link.trouble) == ("STREAMING", "")
    assert host.numbers("mass") == list(range(600))
    assert host.numbers("water") == list(range(240))
    assert not [one for one in host.arrivals if isinstance(one, Lost)]
    greeting = next(one for one in host.arrivals if isinstance(one, Greeting))
    assert greeting.device == "dev"
    assert link.state.name == "CLOSED"


async def test_sample_times_keep_the_pace_of_the_device_however_they_arrive(tmp_path: Path) -> None:
    bench, link = Bench(tmp_path / "port"), link_to(tmp_path / "port")
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: bench.device.exhausted and not bench.device.waiting, "the last acknowledgement")
    assert np.allclose(np.diff(host.times_s("mass")), 0.1, atol=2e-3)


class RememberingLink(SerialLink):
    """A link that remembers the states it came to, also those too short to be seen from outside."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name == "state":
            self.__dict__.setdefault("states", []).append(value)
        super().__setattr__(name, value)


async def test_an_unplugged_device_is_found_again_and_sends_what_it_kept(tmp_path: Path) -> None:
    bench = Bench(tmp_path / "port", Fault(FaultKind.UNPLUG, 20.0, 26.0))
    link = link_to(tmp_path / "port", kind=RememberingLink)
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: bench.device.exhausted and not bench.device.waiting, "the last acknowledgement")
    assert {LinkState.WAITING, LinkState.STREAMING} <= set(vars(link)["states"])
    assert host.numbers("mass") == list(range(600))
    assert host.numbers("water") == list(range(240))


async def test_a_reboot_is_told_and_its_samples_are_kept_apart(tmp_path: Path) -> None:
    bench = Bench(tmp_path / "port", Fault(FaultKind.REBOOT, 30.0, 30.0))
    link = link_to(tmp_path / "port")
    arrivals: list[Arrival] = []

    async def take(fresh: list[Arrival]) -> None:
        arrivals.extend(fresh)
        for one in fresh:
            if isinstance(one, SampleBatch | Lost):
                link.committed(one.boot, {one.channel: one.next_seq})

    async with running(bench.run, lambda: link.run(take)):
        await until(lambda: bench.device.exhausted and not bench.device.waiting, "the last acknowledgement")
    restart = next(one for one in arrivals if isinstance(one, Restart))
    assert (restart.old_boot, restart.boot) == (1, 2)
    boots = [one.boot for one in arrivals if isinstance(one, SampleBatch)]
    assert boots == sorted(boots)
    assert set(boots) == {1, 2}


async def test_another_device_on_the_same_path_is_refused(tmp_path: Path) -> None:
    bench, link = Bench(tmp_path / "port", device="stranger"), link_to(tmp_path / "port", device="dev")
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: link.state is LinkState.REFUSED, "the refusal")
        await until(lambda: "stranger" in link.trouble, "its reason")
    assert host.arrivals == []


async def test_a_device_that_would_fill_its_line_is_refused_before_it_sends_anything(tmp_path: Path) -> None:
    bench, link = Bench(tmp_path / "port"), link_to(tmp_path / "port", baud=2_400)
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: link.state is LinkState.REFUSED, "the refusal")
        await until(lambda: "2400 baud" in link.trouble, "its reason")
    assert "use a faster line, or sample less often" in link.trouble
    assert host.arrivals == []


async def test_what_came_before_a_refusal_is_handed_on(tmp_path: Path) -> None:
    bench, link = Bench(tmp_path / "port"), link_to(tmp_path / "port")
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: len(host.numbers("mass")) > 30, "some samples")
        receive = frames(link).session.receive

        def refuse_after(data: bytes, now_ns: int) -> list[Event]:
            events = receive(data, now_ns)
            return (
                [*events, Refused("it fills the line")] if any(isinstance(one, Readings) for one in events) else events
            )

        frames(link).session.receive = refuse_after  # type: ignore[method-assign]
        await until(lambda: link.trouble == "it fills the line", "the refusal")
        frames(link).session.receive = receive  # type: ignore[method-assign]
        await until(lambda: bench.device.exhausted and not bench.device.waiting, "the last acknowledgement")
    assert host.numbers("mass") == list(range(600))


async def test_the_same_device_under_another_path_is_taken_up_where_it_was(tmp_path: Path) -> None:
    bench = Bench(tmp_path / "port", Fault(FaultKind.UNPLUG, 20.0, 24.0))
    (tmp_path / "second").symlink_to(tmp_path / "port")
    first = link_to(tmp_path / "port")
    kept: list[dict[str, Any] | None] = []
    frames(first).remember = lambda _, standing: kept.append(standing())
    host = Host(first)
    async with running(bench.run):
        async with running(lambda: first.run(host.take)):
            await until(lambda: len(host.numbers("mass")) > 100, "some samples")
        second = link_to(tmp_path / "second", standing=kept[-1])
        host.link = second
        async with running(lambda: second.run(host.take)):
            await until(lambda: bench.device.exhausted and not bench.device.waiting, "the last acknowledgement")
    assert host.numbers("mass") == list(range(600))


async def test_the_standing_is_remembered_before_the_device_is_told(tmp_path: Path) -> None:
    bench = Bench(tmp_path / "port")
    acknowledged: list[tuple[int, int]] = []
    link = link_to(tmp_path / "port")

    def remember(boot: int, standing: Callable[[], dict[str, Any] | None]) -> None:
        document = standing()
        assert document is not None
        assert document["boot"] == boot
        acknowledged.append((document["wanted"].get("0", 0), bench.device._life.rings["mass"].acknowledged))

    frames(link).remember = remember
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: len(acknowledged) > 20, "some commits")
    assert all(remembered >= told for remembered, told in acknowledged)


async def test_a_damaged_standing_costs_nothing_but_a_warning(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    bench = Bench(tmp_path / "port")
    standing = {"device": "dev", "boot": 1, "wanted": {"0": 5}, "clock": {"pongs": 3}}
    link = link_to(tmp_path / "port", standing=standing)
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: len(host.numbers("mass")) > 50, "some samples")
    assert host.numbers("mass")[0] == 0
    assert "damaged" in caplog.text


async def test_a_port_on_which_nobody_speaks_is_opened_anew(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG, "emberline")
    port = PtyPort(tmp_path / "port")
    port.plug()
    link = link_to(tmp_path / "port", clock=FastClock(SPEED, slack_s=0.0))
    async with running(lambda: link.run(Host(link).take)):
        await until(lambda: caplog.text.count("nobody on the port") >= 3, "three attempts")
    port.unplug()
    levels = [record.levelno for record in caplog.records if "nobody on the port" in record.message]
    assert levels[0] == logging.WARNING
    assert set(levels[1:]) == {logging.DEBUG}


async def test_a_device_that_falls_silent_is_stale_and_then_opened_anew(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    bench, link = Bench(tmp_path / "port"), link_to(tmp_path / "port", clock=FastClock(SPEED, slack_s=0.0))
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: len(host.numbers("mass")) > 30, "some samples")
        bench.device.next_frame = lambda: b""  # type: ignore[method-assign]
        await until(lambda: link.state is LinkState.STALE, "the link to be stale")
        await until(lambda: "no readings for" in caplog.text, "the link to be opened anew")


async def test_while_the_host_is_busy_nothing_more_is_read(tmp_path: Path) -> None:
    bench, link = Bench(tmp_path / "port"), link_to(tmp_path / "port")
    host, free = Host(link), asyncio.Event()

    async def take(arrivals: list[Arrival]) -> None:
        await free.wait()
        await host.take(arrivals)

    async with running(bench.run, lambda: link.run(take)):
        await until(lambda: bench.device._life.rings["mass"].taken > 300, "half a minute of readings")
        assert host.arrivals == []
        free.set()
        await until(lambda: bench.device.exhausted and not bench.device.waiting, "the last acknowledgement")
    assert host.numbers("mass") == list(range(600))


async def test_a_device_that_is_plugged_in_is_not_kept_waiting_by_a_long_pause(tmp_path: Path) -> None:
    class Long(Pauses):
        def next_s(self) -> float:
            return 30.0 * SPEED

    path = tmp_path / "port"
    link = link_to(path, pauses=Long())
    host = Host(link)
    async with running(lambda: link.run(host.take)):
        await until(lambda: link.state is LinkState.WAITING, "the first failure")
        bench = Bench(path)
        begun_s = time.monotonic()
        async with running(bench.run):
            await until(lambda: bool(host.arrivals), "readings", 5.0)
        assert time.monotonic() - begun_s < 5.0
