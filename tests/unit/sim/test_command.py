"""The command line of the simulated bench, as a process of its own behind a real pseudo-terminal."""

import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import serial
from click.testing import CliRunner

from broker_fixture import Broker
from emberline_sim.command import main
from emberline_wire import Event, Gap, Readings, Rebooted, Session

SPEED = 40.0
SCENARIO = """
title = "A pot on a plate"
story = "Forty seconds of water getting warm."
seed = 3
duration_s = 40.0
heater_w = 900.0

[pot]
[[pot.visits]]
on_s = 0.0

[channels.water]
[channels.mass]
"""


def start(folder: Path, *options: str) -> subprocess.Popen[str]:
    scenario = folder / "plate.toml"
    scenario.write_text(SCENARIO)
    command = [sys.executable, "-m", "emberline_sim", "--scenario", str(scenario), "--pty-link", str(folder / "port")]
    return subprocess.Popen(
        [*command, "--speed", str(SPEED), "--tally", str(folder / "tally.json"), *options],
        stderr=subprocess.PIPE,
        text=True,
    )


def words_of(process: subprocess.Popen[str]) -> str:
    """Wait for the end and return what was said."""
    return process.communicate(timeout=30)[1]


def wait_until(true: Callable[[], bool], what: str) -> None:
    deadline = time.monotonic() + 20.0
    while not true():
        assert time.monotonic() < deadline, f"waited 20 s for {what}"
        os.sched_yield()


def listen(process: subprocess.Popen[str], link: Path) -> list[Event]:
    """Be a host that stores everything at once, and open the port again whenever it has vanished."""
    session, events = Session(), list[Event]()
    deadline = time.monotonic() + 45.0
    while process.poll() is None:
        assert time.monotonic() < deadline
        try:
            with serial.Serial(str(link), timeout=0.005, exclusive=True) as port:
                session.connected(now_ns())
                while process.poll() is None and link.exists():
                    came = session.receive(port.read(max(1, port.in_waiting)), now_ns()) + session.tick(now_ns())
                    events += came
                    stored = {e.channel.id: e.next_seq for e in came if isinstance(e, Readings | Gap)}
                    boots = {e.boot for e in came if isinstance(e, Readings | Gap)}
                    for boot in boots:
                        session.committed(stored, boot)
                    port.write(session.bytes_to_send())
        except (serial.SerialException, OSError):
            session.disconnected()
    return events


def now_ns() -> int:
    return 1_795_000_000_000_000_000 + round(time.monotonic_ns() * SPEED)


def check_conservation(events: list[Event], tally: dict[str, Any]) -> None:
    """All that was taken is there once or flagged: as a gap, or by the number at which a boot ended."""
    seen: dict[tuple[int, int], Counter[int]] = {}
    flagged: dict[tuple[int, int], set[int]] = {}
    ended: dict[tuple[int, int], int] = {}
    for event in events:
        if isinstance(event, Readings):
            seen.setdefault((event.boot, event.channel.id), Counter()).update(range(event.first_seq, event.next_seq))
        elif isinstance(event, Gap):
            flagged.setdefault((event.boot, event.channel.id), set()).update(range(event.first, event.next_seq))
        elif isinstance(event, Rebooted):
            ended |= {(event.old_boot, stream): seq for stream, seq in event.ended.items()}
    assert all(max(counts.values()) == 1 for counts in seen.values())
    for boot in tally["boots"]:
        for stream in boot["streams"].values():
            key = (boot["boot"], stream["stream"])
            expected = set(range(min(stream["taken"], ended.get(key, stream["taken"]))))
            assert seen.get(key, Counter()).keys() | flagged.get(key, set()) == expected
            assert not seen.get(key, Counter()).keys() & flagged.get(key, set())


def test_a_burn_is_taken_in_whole(tmp_path: Path) -> None:
    process = start(tmp_path)
    wait_until((tmp_path / "port").is_symlink, "the port")
    events = listen(process, tmp_path / "port")
    words = words_of(process)
    assert process.returncode == 0, words
    assert "Traceback" not in words
    tally = json.loads((tmp_path / "tally.json").read_text())
    check_conservation(events, tally)
    assert not [e for e in events if isinstance(e, Gap)]
    assert len(tally["boots"]) == 1
    assert tally["boots"][0]["streams"]["mass"]["taken"] > 380
    assert not (tmp_path / "port").is_symlink()


def test_nothing_is_lost_unflagged_through_unplugging_noise_wrap_and_reboot(tmp_path: Path) -> None:
    faults = ("junk@0:300", "unplug@8:6", "bits@16-22:0.0005", "lose@22-25:0.003", "double@22-25:0.003", "reboot@30")
    options = [word for fault in faults for word in ("--fault", fault)]
    process = start(tmp_path, "--seed", "5", "--wrap-after", "10", "--drift-ppm", "150", *options)
    wait_until((tmp_path / "port").is_symlink, "the port")
    events = listen(process, tmp_path / "port")
    words = words_of(process)
    assert process.returncode == 0, words
    tally = json.loads((tmp_path / "tally.json").read_text())
    check_conservation(events, tally)
    assert len(tally["boots"]) == 2
    for channel in (0, 2):
        t_ns = [int(t) for e in events if isinstance(e, Readings) and e.channel.id == channel for t in e.t_ns]
        assert t_ns == sorted(t_ns)


def test_told_to_stop_it_ends_cleanly(tmp_path: Path) -> None:
    for number in (signal.SIGTERM, signal.SIGINT):
        process = start(tmp_path, "--at-once")
        wait_until((tmp_path / "port").is_symlink, "the port")
        process.send_signal(number)
        words = words_of(process)
        assert process.returncode == 0, words
        assert "told to stop" in words
        assert not (tmp_path / "port").is_symlink()
        assert json.loads((tmp_path / "tally.json").read_text())["boots"]


def test_readings_left_with_the_device_make_exit_code_1(tmp_path: Path) -> None:
    process = start(tmp_path, "--at-once", "--speed", "1000", "--linger", "0.1")
    words = words_of(process)
    assert process.returncode == 1
    assert "were left" in words


def test_list_names_the_scenarios() -> None:
    result = CliRunner().invoke(main, ["--list"])
    assert result.exit_code == 0
    assert "pellets_pot_lifted: " in result.output


def test_files_are_written_without_a_port(tmp_path: Path) -> None:
    scenario = tmp_path / "plate.toml"
    scenario.write_text(SCENARIO)
    result = CliRunner().invoke(main, ["--scenario", str(scenario), "--write-files", str(tmp_path / "out")])
    assert result.exit_code == 0, result.output
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"readings.csv", "plan.toml", "truth.json"}


def test_without_pseudo_terminals_the_command_says_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "openpty")
    result = CliRunner().invoke(main, ["--scenario", "water_only", "--pty-link", str(tmp_path / "port")])
    assert result.exit_code == 2
    assert "--write-files" in result.output
    assert isinstance(result.exception, SystemExit)


def test_what_cannot_be_done_is_said_without_a_traceback(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    for options in (
        [],
        ["--scenario", "nowhere", "--pty-link", str(tmp_path / "port")],
        ["--scenario", "water_only", "--pty-link", str(tmp_path / "port"), "--fault", "fire@3"],
        ["--scenario", "water_only", "--pty-link", str(tmp_path)],
        ["--scenario", "water_only", "--pty-link", str(tmp_path / "port"), "--mqtt", "localhost"],
        ["--scenario", "water_only", "--mqtt", "localhost:x"],
        ["--scenario", "water_only", "--mqtt", "localhost", "--mqtt-ca", str(tmp_path / "none")],
        ["--scenario", "water_only", "--write-files", str(tmp_path / "taken" / "out")],
    ):
        result = CliRunner().invoke(main, options)
        assert result.exit_code == 2
        assert "Error:" in result.output


def test_behind_a_broker_it_waits_for_the_host_and_ends_when_told_to(tmp_path: Path, broker: Broker) -> None:
    scenario = tmp_path / "plate.toml"
    scenario.write_text(SCENARIO)
    command = [sys.executable, "-m", "emberline_sim", "--scenario", str(scenario), "--mqtt", broker.address]
    process = subprocess.Popen([*command, "--bench", "yard"], stderr=subprocess.PIPE, text=True)
    wait_until(lambda: "emberline-device-sim-bench-1" in broker.words(), "the connection")
    process.send_signal(signal.SIGTERM)
    words = words_of(process)
    assert process.returncode == 0, words
    assert f"broker {broker.address}, waiting for the host" in words
    assert "emberline/v1/yard/online" in broker.words()
