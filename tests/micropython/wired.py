"""`main.py` on MicroPython, with a machine, a network and a clock that are made up: four seconds of a bench."""

import binascii
import json
import sys


class EndOfTurnError(Exception):
    """Ends a turn of the sampling thread."""


class EndOfRunError(Exception):
    """Ends the main loop."""


class Time:
    """The clock; while the main loop sleeps, the other thread has its turn."""

    def __init__(self):
        self.now_us = 0
        self.thread = None
        self._inside = False

    def ticks_us(self) -> int:
        return self.now_us

    def ticks_ms(self) -> int:
        return self.now_us // 1000

    def ticks_diff(self, new: int, old: int) -> int:
        return new - old

    def sleep_ms(self, ms: int) -> None:
        if self._inside:
            raise EndOfTurnError
        self.now_us += 1000 * ms
        if self.thread:
            self._inside = True
            try:
                self.thread[0](*self.thread[1])
            except EndOfTurnError:
                self._inside = False


class Pin:
    """A pin; the load cell's converter hangs on 16 and 17, and is ready each 100 ms."""

    IN, OUT = 0, 1
    clocks = 0
    shown_us = 0

    def __init__(self, number: int, mode: int = IN, value: int = 0):
        self.number = number

    def value(self, level: int | None = None) -> int:
        if level is None:
            if Pin.clocks == 0:
                return 0 if time.now_us - Pin.shown_us >= 100_000 else 1
            return 84_213 >> (24 - Pin.clocks) & 1
        if self.number == 17 and level == 1:
            Pin.clocks += 1
            if Pin.clocks == 25:
                Pin.clocks, Pin.shown_us = 0, time.now_us
        if self.number in (5, 4):
            SPI.selected = self.number if level == 0 else None
        return 0


class SPI:
    """A bus with two thermocouple converters: 100 degrees on 5, an open lead on 4, both at 25 degrees."""

    selected = None

    def __init__(self, bus: int, pace: int, sck: Pin, miso: Pin):
        pass

    def read(self, count: int) -> bytes:
        return {5: b"\x06\x40\x19\x00", 4: b"\x00\x01\x19\x01"}[SPI.selected]


class Watchdog:
    """Ends the run after four seconds."""

    def __init__(self, timeout: int):
        pass

    def feed(self) -> None:
        if time.now_us > 4_000_000:
            raise EndOfRunError


class Wifi:
    """Always joined."""

    def __init__(self, which: int):
        pass

    def isconnected(self) -> bool:
        return True


class Client:
    """Tells what is published."""

    def __init__(self, *what, **more):
        self.sock = self

    def connect(self, clean: bool, limit_s: int) -> None:
        pass

    def publish(self, topic: str, packet: bytes, retain: bool, qos: int) -> None:
        sys.stdout.write(json.dumps([topic, binascii.hexlify(packet).decode(), retain, qos]) + "\n")

    def nothing(self, *what, **more) -> None:
        pass

    set_last_will = set_callback = subscribe = check_msg = settimeout = read = write = close = nothing


class Lock:
    """Nobody else is there."""

    def __enter__(self):
        pass

    def __exit__(self, *what):
        pass


class Module:
    """A module that is made up."""

    def __init__(self, name: str, **what):
        for key in what:
            setattr(self, key, what[key])
        sys.modules[name] = self


time = Time()
sys.modules["time"] = time
Module("machine", Pin=Pin, SPI=SPI, WDT=Watchdog, disable_irq=lambda: 0, enable_irq=lambda state: None,
       reset_cause=lambda: 1)  # fmt: skip
Module("network", WLAN=Wifi, STA_IF=0)
Module("os", urandom=lambda count: b"\x01\x02\x03\x84"[:count])
Module("umqtt", simple=Module("umqtt.simple", MQTTClient=Client, MQTTException=ValueError))


def start(thread, what: tuple) -> None:
    time.thread = (thread, what)


Module("_thread", allocate_lock=Lock, start_new_thread=start)
try:
    __import__("main")
except EndOfRunError:
    pass
else:
    raise RuntimeError("the main loop has ended by itself")
