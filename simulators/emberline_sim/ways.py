"""The ways of a simulated device to its host: a port that carries frames, one that carries text, a broker."""

import contextlib
import itertools
import secrets
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from typing import Protocol

from emberline_sim.broker_port import BrokerPort
from emberline_sim.device.converters import Block, Converter
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.microcontroller import Microcontroller
from emberline_sim.device.sketch import Sketch, SketchSpec
from emberline_sim.faults import Mischief
from emberline_sim.hookup import BrokerHookup, Hookup
from emberline_sim.ports import PtyPort, plugged_in


class Device(Protocol):
    """A device as the command needs it."""

    @property
    def exhausted(self) -> bool:
        """Whether no reading is to come any more."""

    @property
    def waiting(self) -> int:
        """What is left with the device."""

    def finish(self) -> None:
        """Make the last readings due to be sent."""

    def tally(self) -> dict[str, object]:
        """Return what the device did, as plain data."""


Step = Callable[[float], None]
"""Moves a device and its line on to a time."""


class Way(Protocol):
    """A way to the host."""

    @property
    def name(self) -> str:
        """What to call it."""

    def open(self) -> AbstractContextManager[None]:
        """Keep it open for a while."""

    def heard(self) -> bool:
        """Return whether there is a host."""

    def wait(self, at_most_s: float) -> None:
        """Wait until the host has said something, but no longer than `at_most_s`."""

    def start(
        self, converters: Sequence[Converter], blocks: Iterable[Block], mischief: Mischief
    ) -> tuple[Device, Step]:
        """Switch a device on and return it, with what moves it on."""

    def done(self, device: Device) -> bool:
        """Return whether the host has all that there is, once the burn is over."""


class _SerialWay:
    """A serial port, whatever is printed to it."""

    def __init__(self, port: PtyPort) -> None:
        self.name = f"port {port.link}"
        self._port = port
        self.wait = port.wait

    def open(self) -> AbstractContextManager[None]:
        """Keep the port plugged in."""
        return plugged_in(self._port)


class FramesWay(_SerialWay):
    """A serial port with a device that speaks the protocol."""

    def __init__(self, port: PtyPort, spec: DeviceSpec) -> None:
        super().__init__(port)
        self._spec = spec

    def heard(self) -> bool:
        """Return whether the host has said something."""
        return bool(self._port.read())

    def start(
        self, converters: Sequence[Converter], blocks: Iterable[Block], mischief: Mischief
    ) -> tuple[Device, Step]:
        """Switch the device on."""
        device = Microcontroller(self._spec, converters, blocks, _boot_ids())
        return device, Hookup(device, self._port, mischief).step

    def done(self, device: Device) -> bool:
        """Return whether everything is acknowledged."""
        return device.waiting == 0


class SketchWay(_SerialWay):
    """A serial port with a sketch that prints lines; nobody tells it what the host has read."""

    def __init__(self, port: PtyPort, spec: SketchSpec) -> None:
        super().__init__(port)
        self._spec = spec

    def heard(self) -> bool:
        """Return whether the host has opened the port."""
        return self._port.opened

    def start(
        self, converters: Sequence[Converter], blocks: Iterable[Block], mischief: Mischief
    ) -> tuple[Device, Step]:
        """Switch the board on."""
        sketch = Sketch(self._spec, converters, blocks)
        return sketch, Hookup(sketch, self._port, mischief).step

    def done(self, device: Device) -> bool:
        """Return whether the host has gone."""
        return not self._port.opened


class BrokerWay:
    """A broker that carries the packets of a device."""

    def __init__(self, port: BrokerPort, name: str, spec: DeviceSpec) -> None:
        self.name = name
        self._port = port
        self._spec = spec
        self.wait = port.wait

    @contextlib.contextmanager
    def open(self) -> Iterator[None]:
        """Keep the connection up, and take leave at the end."""
        self._port.plug()
        try:
            yield
        finally:
            self._port.leave()

    def heard(self) -> bool:
        """Return whether the host has said something."""
        return bool(self._port.read())

    def start(
        self, converters: Sequence[Converter], blocks: Iterable[Block], mischief: Mischief
    ) -> tuple[Device, Step]:
        """Switch the device on."""
        device = Microcontroller(self._spec, converters, blocks, _boot_ids())
        return device, BrokerHookup(device, self._port, mischief).step

    def done(self, device: Device) -> bool:
        """Return whether everything is acknowledged."""
        return device.waiting == 0


def _boot_ids() -> Iterator[int]:
    """Yield boot ids that no other run has, even with the same seed: a store may know the boots of earlier runs."""
    return (secrets.randbits(32) for _ in itertools.count())
