"""A device, its line and what goes wrong with it, moved on step by step; the time is an argument."""

from typing import Protocol

from emberline_sim.broker_port import BrokerPort
from emberline_sim.device.microcontroller import Microcontroller
from emberline_sim.faults import FaultKind, Mischief
from emberline_sim.ports import Port
from emberline_wire.budget import BITS_PER_BYTE


class SerialDevice(Protocol):
    """What is on the far end of a serial line."""

    def receive(self, data: bytes, now_s: float) -> None:
        """Take in bytes from the host."""

    def reboot(self, now_s: float) -> None:
        """Restart."""

    def advance(self, now_s: float) -> None:
        """Let the true time become `now_s`."""

    def next_frame(self) -> bytes:
        """Return what is to be sent next, or nothing."""


class Hookup:
    """Carries bytes between a device and a port at the speed of a serial line.

    Attributes:
        device: The device.
        port: The line.

    """

    def __init__(self, device: SerialDevice, port: Port, mischief: Mischief, *, baud: int = 115_200) -> None:
        self.device = device
        self.port = port
        self._mischief = mischief
        self._bytes_per_s = baud / BITS_PER_BYTE
        self._credit = 0.0
        self._now_s = 0.0
        self._half_sent = b""

    def step(self, now_s: float) -> None:
        """Move on to the true time `now_s`: host's bytes in, readings taken, due faults happen, frames out."""
        self._plug(now_s)
        heard = self.port.read()
        if heard:
            self.device.receive(self._mischief.spoil(heard, now_s), now_s)
        for fault in self._mischief.due(now_s):
            if fault.kind is FaultKind.REBOOT:
                self._half_sent = b""
                self.device.reboot(now_s)
            else:
                self.port.write(self._mischief.junk(int(fault.amount)))
        self.device.advance(now_s)
        self._send(now_s)

    def _plug(self, now_s: float) -> None:
        if self._mischief.plugged(now_s):
            self.port.plug()
        else:
            self._half_sent = b""
            self.port.unplug()

    def _send(self, now_s: float) -> None:
        """Send as much as the line carries in the time gone by; what a full line does not take waits in the device."""
        if not self._mischief.plugged(now_s):
            self._now_s = now_s
            return
        gone_s, self._now_s = now_s - self._now_s, now_s
        self._credit = min(self._credit, 0.0) + gone_s * self._bytes_per_s
        while self._credit > 0.0:
            if not self._half_sent:
                frame = self.device.next_frame()
                if not frame:
                    return
                self._credit -= len(frame)
                self._half_sent = self._mischief.spoil(frame, now_s)
            self._half_sent = self._half_sent[self.port.write(self._half_sent) :]
            if self._half_sent:
                return


class BrokerHookup:
    """Carries packets between a device and a broker, as many as the broker takes.

    Attributes:
        device: The device.
        port: Its connection.

    """

    def __init__(self, device: Microcontroller, port: BrokerPort, mischief: Mischief) -> None:
        self.device = device
        self.port = port
        self._mischief = mischief
        self._connections = 0
        self._boot: int | None = None

    def step(self, now_s: float) -> None:
        """Move on to the true time `now_s`: host's packets in, readings taken, due faults happen, packets out."""
        if self._mischief.plugged(now_s):
            self.port.plug()
        else:
            self.port.unplug()
        self.port.pump()
        if self.port.connections != self._connections:
            self._connections = self.port.connections
            self._boot = None
            self.device.connected(now_s)
        for packet in self.port.read():
            self.device.receive_packet(self._mischief.spoil(packet, now_s), now_s)
        for fault in self._mischief.due(now_s):
            if fault.kind is FaultKind.REBOOT:
                self.device.reboot(now_s)
            else:
                self.port.write(self._mischief.junk(int(fault.amount)))
        self.device.advance(now_s)
        self._send(now_s)

    def _send(self, now_s: float) -> None:
        if self.port.room and self._boot != self.device.boot:
            self._boot = self.device.boot
            self.port.keep_hello(self.device.hello_packet())
        while self.port.room > 0:
            packet = self.device.next_packet()
            if not packet:
                break
            self.port.write(self._mischief.spoil(packet, now_s))
        self.port.pump()
