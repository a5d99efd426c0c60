"""The command line of the simulated bench: `python -m emberline_sim`."""

import contextlib
import json
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType

import click

from emberline_sim.broker_port import BrokerPlace, BrokerPort
from emberline_sim.by_hand import Hand, handled
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.sketch import SketchSpec, Style
from emberline_sim.device.wiring import wire
from emberline_sim.errors import OutputError, PortError, SimError
from emberline_sim.faults import MEANING, Mischief, parse_fault
from emberline_sim.files import write_csv, write_plan, write_truth
from emberline_sim.ports import PtyPort
from emberline_sim.recording import Recording, record
from emberline_sim.scenario import load_scenario, scenario_names
from emberline_sim.ways import BrokerWay, FramesWay, SketchWay, Way
from emberline_wire.limits import MAX_RING_MS

STEP_S = 0.005
"""Longest time between two steps, by the wall clock."""
PASSWORD_VARIABLE = "EMBERLINE_SIM_MQTT_PASSWORD"  # noqa: S105 the name of a variable, no password
WRAP_S = 2**32 / 1e6
MAX_RING_S = MAX_RING_MS / 1000.0


@click.command(
    epilog="Example: python -m emberline_sim --scenario pellets_pot_lifted --pty-link bench --speed 60 "
    "--fault unplug@300:5"
)
@click.option("--list", "list_", is_flag=True, help="List the packaged scenarios and end.")
@click.option("--scenario", metavar="NAME", help="Packaged scenario, or a path that ends in .toml.")
@click.option("--seed", type=int, help="Seed of the burn and of the faults, instead of the scenario's own.")
@click.option(
    "--write-files",
    type=click.Path(file_okay=False, path_type=Path),
    help="Write readings.csv, plan.toml and truth.json of the burn into this folder.",
)
@click.option("--pty-link", type=click.Path(path_type=Path), help="Run the burn on a pseudo-terminal behind this link.")
@click.option("--mqtt", metavar="HOST[:PORT]", help="Run the burn by way of an MQTT broker instead.")
@click.option("--bench", default="bench", show_default=True, help="Id of the bench in the broker's topics.")
@click.option("--mqtt-user", help=f"Account on the broker; its password comes from {PASSWORD_VARIABLE}.")
@click.option(
    "--mqtt-ca",
    type=click.Path(exists=True, dir_okay=False),
    help="Certificate of the broker's authority; encrypts the connection.",
)
@click.option(
    "--speed",
    type=click.FloatRange(min=0.1, max=1000),
    default=1.0,
    show_default=True,
    help="Seconds of the burn in a second; the host must run its clock at the same speed.",
)
@click.option(
    "--fault",
    "faults",
    multiple=True,
    metavar="FAULT",
    help=f"What goes wrong: {', '.join(MEANING.values())}. Times in seconds of the burn; may be repeated.",
)
@click.option("--at-once", is_flag=True, help="Switch the device on at once, not when the host first speaks.")
@click.option(
    "--lines",
    type=click.Choice([style.value for style in Style]),
    help="Print lines of text on the port, as somebody's own sketch does, instead of speaking the protocol.",
)
@click.option("--device", default="sim-bench-1", show_default=True, help="Device id.")
@click.option(
    "--drift-ppm",
    type=click.FloatRange(-1000, 1000),
    default=40.0,
    show_default=True,
    help="How much the device's clock runs fast.",
)
@click.option(
    "--wrap-after", type=click.FloatRange(0, WRAP_S), help="Seconds until its 32-bit counter wraps for the first time."
)
@click.option(
    "--frame-period", type=click.FloatRange(0.05, 2.0), default=1.0, show_default=True, help="Seconds between frames."
)
@click.option(
    "--ring",
    type=click.FloatRange(0.5, MAX_RING_S),
    help="Seconds of samples that the device keeps.  [default: 8 times the speed, so that a host has 8 s at any pace]",
)
@click.option(
    "--linger",
    type=click.FloatRange(min=0.0),
    default=30.0,
    show_default=True,
    help="Seconds to wait after the burn for the host to store the rest.",
)
@click.option(
    "--by-hand",
    is_flag=True,
    help="Read from standard input what somebody does at the bench: put G, take G, clear, dip, lift, light, end. The "
    "burn begins at `light`.",
)
@click.option(
    "--tally",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write what was sent, by boot and stream, into this JSON file at the end.",
)
def main(
    *,
    list_: bool,
    scenario: str | None,
    seed: int | None,
    write_files: Path | None,
    pty_link: Path | None,
    mqtt: str | None,
    bench: str,
    mqtt_user: str | None,
    mqtt_ca: str | None,
    speed: float,
    faults: tuple[str, ...],
    at_once: bool,
    lines: str | None,
    device: str,
    drift_ppm: float,
    wrap_after: float | None,
    frame_period: float,
    ring: float | None,
    linger: float,
    by_hand: bool,
    tally: Path | None,
) -> None:
    """Burn a batch on a simulated bench, and speak to a host as its microcontroller would.

    The device is switched on when the host first sends something (with --lines: opens the port), and the program ends
    when the burn is over and the host has stored all of it (with --lines: has closed the port). Exit code 0; 1 if
    readings were left that the host never acknowledged; 2 if something asked for cannot be done.
    """
    if list_:
        for name in scenario_names():
            click.echo(f"{name}: {load_scenario(name).title}")
        return
    if scenario is None or (write_files is None and pty_link is None and mqtt is None):
        raise click.UsageError(
            "say --scenario NAME and --pty-link PATH, --mqtt HOST or --write-files FOLDER, or --list"
        )
    if pty_link is not None and mqtt is not None:
        raise click.UsageError("a device has one line: give --pty-link or --mqtt")
    if lines is not None and pty_link is None:
        raise click.UsageError("--lines needs a port: give --pty-link")
    try:
        mischief = Mischief([parse_fault(text) for text in faults], seed=seed or 0)
        recording = record(load_scenario(scenario, seed=seed))
        if write_files is not None:
            _write(recording, write_files)
        if pty_link is None and mqtt is None:
            return
        spec = DeviceSpec(
            device=device,
            drift_ppm=drift_ppm,
            ticks_at_start=0 if wrap_after is None else int((WRAP_S - wrap_after) * 1e6) % 2**32,
            frame_period_s=frame_period,
            ring_s=min(8.0 * max(1.0, speed), MAX_RING_S) if ring is None else ring,
        )
        way: Way
        if mqtt is not None:
            way = BrokerWay(BrokerPort(_place(mqtt, mqtt_user, mqtt_ca), bench, device), f"broker {mqtt}", spec)
        elif pty_link is not None and lines is not None:
            millis = 0 if wrap_after is None else int(2**32 - wrap_after * 1e3) % 2**32
            way = SketchWay(PtyPort(pty_link), SketchSpec(Style(lines), drift_ppm=drift_ppm, millis_at_start=millis))
        elif pty_link is not None:
            way = FramesWay(PtyPort(pty_link), spec)
        hand = Hand(sys.stdin.fileno()) if by_hand else None
        left = _run(recording, way, mischief, speed, linger, hand, at_once=at_once, tally=tally)
    except SimError as exc:
        raise click.UsageError(str(exc)) from exc
    if left:
        raise SystemExit(1)


def _place(named: str, user: str | None, ca_file: str | None) -> BrokerPlace:
    host, _, port = named.partition(":")
    if not host or (port and not port.isdecimal()):
        raise PortError(f"{named!r} names no broker: write HOST or HOST:PORT")
    return BrokerPlace(
        host, int(port or (1883 if ca_file is None else 8883)), user, os.environ.get(PASSWORD_VARIABLE), ca_file
    )


def _run(
    recording: Recording,
    way: Way,
    mischief: Mischief,
    speed: float,
    linger_s: float,
    hand: Hand | None = None,
    *,
    at_once: bool,
    tally: Path | None,
) -> int:
    """Run the burn on a way to the host; return how much was left without an acknowledgement, 0 if told to stop."""
    converters, blocks = wire(recording)
    if hand is not None:
        blocks = handled(recording, converters, blocks, hand)
    with _stop_signals() as stopped, way.open():
        _say(f"{way.name}, waiting for the host" if not at_once else way.name)
        while not (at_once or stopped() or way.heard()):
            way.wait(STEP_S)
        device, step = way.start(converters, blocks, mischief)
        _say(f"burning {recording.scenario.name} for {recording.scenario.duration_s:.0f} s at {speed:g} times the pace")
        start_s, over_s = time.monotonic(), None
        while not stopped():
            now_s = time.monotonic()
            step((now_s - start_s) * speed)
            if device.exhausted:
                device.finish()
                over_s = over_s or now_s
                if way.done(device) or now_s > over_s + linger_s:
                    break
            way.wait(STEP_S)
    left = 0 if stopped() else device.waiting
    _say("told to stop" if stopped() else f"the burn is over, {left or 'no'} samples were left with the device")
    if tally is not None:
        with _writing(tally):
            tally.write_text(json.dumps(device.tally(), indent=1) + "\n", encoding="utf-8")
    return left


@contextlib.contextmanager
def _stop_signals() -> Iterator[Callable[[], bool]]:
    """Yield a function that tells whether SIGINT or SIGTERM came; the old handlers come back afterwards."""
    came: list[int] = []

    def note(number: int, _frame: FrameType | None) -> None:
        came.append(number)

    before = {number: signal.signal(number, note) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield lambda: bool(came)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _write(recording: Recording, folder: Path) -> None:
    with _writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
        write_csv(recording, folder / "readings.csv")
        write_plan(recording, folder / "plan.toml")
        write_truth(recording, folder / "truth.json")
    _say(f"wrote readings.csv, plan.toml and truth.json into {folder}")


@contextlib.contextmanager
def _writing(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        raise OutputError(f"cannot write {exc.filename or path}: {exc.strerror or exc}") from exc


def _say(text: str) -> None:
    click.echo(f"simulated bench: {text}", err=True)
