"""The drivers and the clock on MicroPython, over pins and a bus that are made up."""

import json
import sys

from clock import Clock
from hx711 import Hx711
from max31855 import Max31855


class BridgeChip:
    """A bridge converter: data is low when ready, each clock puts out the next bit, the 25th ends the conversion."""

    def __init__(self):
        self.code = None
        self.clocks = 0

    def convert(self, code: int) -> None:
        self.code = code & 0xFFFFFF
        self.clocks = 0

    def pulse(self, pin) -> None:
        if pin != "clock":
            raise RuntimeError("the wrong pin")
        self.clocks += 1
        if self.clocks == 25:
            self.code = None

    def value(self) -> int:
        if self.code is None:
            return 1
        return 0 if self.clocks == 0 else self.code >> (24 - self.clocks) & 1


class Bus:
    """A bus with one converter, which answers while it is selected."""

    def __init__(self):
        self.word = 0
        self.selected = False

    def value(self, level: int) -> None:
        self.selected = level == 0

    def read(self, count: int) -> bytes:
        return self.word.to_bytes(count, "big") if self.selected else b"\xff" * count


class Lock:
    def __enter__(self):
        pass

    def __exit__(self, *what):
        pass


def bridge(codes: list) -> list:
    chip = BridgeChip()
    driver = Hx711(chip, "clock", chip.pulse, "mass")
    found = [driver.poll(0)]
    for index, code in enumerate(codes):
        chip.convert(code)
        found.append(driver.poll(100_000 * (index + 1)))
    last_us = 100_000 * len(codes)
    found.extend([driver.poll(last_us + later_us) for later_us in (500_000, 1_000_001, 1_500_000)])
    return found


class Grounded:
    """A data line that touches ground."""

    def value(self) -> int:
        return 0


def grounded(times_us: list) -> list:
    driver = Hx711(Grounded(), "clock", lambda pin: None, "mass")
    return [driver.poll(us) for us in times_us]


def probe(words: list) -> list:
    bus = Bus()
    driver = Max31855(bus, bus, "water", "water_cj")
    found = []
    for index, word in enumerate(words):
        bus.word = word
        found.append(driver.poll(100_000 * index + 7))
        found.append(driver.poll(100_000 * index + 99_999))
    return found


def clock(counts: list, period: int) -> list:
    left = list(counts)
    half = period // 2
    made = Clock(lambda: left.pop(0), lambda new, old: (new - old + half) % period - half, Lock())
    return [made.us() for _ in range(len(counts) - 1)]


with open("/data.json") as file:  # noqa: PTH123 a board has no pathlib
    name, *what = json.load(file)
    sys.stdout.write(
        json.dumps({"bridge": bridge, "grounded": grounded, "probe": probe, "clock": clock}[name](*what)) + "\n"
    )
