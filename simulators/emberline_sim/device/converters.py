"""From what a sensor sees to what its converter writes into a register."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emberline_wire import Channel, Fault, Kind

BRIDGE_MOST = (1 << 23) - 1
"""Largest code of a 24-bit bridge converter; the smallest is its negative less one."""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Readings of one channel as the microcontroller takes them.

    Attributes:
        channel: Name of the channel.
        t_s: (n,) true times in seconds, increasing.
        raw: (n,) integers, codes of the converter.
        faults: (n,) uint8, bits of `Fault`.

    """

    channel: str
    t_s: NDArray[np.float64]
    raw: NDArray[np.int64]
    faults: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.t_s)


@dataclass(frozen=True, slots=True)
class Converter:
    """A converter on one channel.

    Attributes:
        channel: Entry in the device's channel table; its scale and zero are what the converter truly has.
        dtype: Integer type in which its codes are kept and sent.
        fault: What it reports when its input is broken.

    """

    channel: Channel
    dtype: np.dtype[Any]
    fault: Fault

    def convert(self, t_s: NDArray[np.float64], value: NDArray[np.float64]) -> Block:
        """Return the codes of physical values (n,), NaN standing for a broken input."""
        info = np.iinfo(self.dtype)
        least, most = int(info.min), int(info.max)
        if self.channel.kind is Kind.BRIDGE_COUNTS:
            least, most = -BRIDGE_MOST - 1, BRIDGE_MOST
        broken = np.isnan(value)
        exact = np.where(broken, 0.0, value) / self.channel.scale + self.channel.zero
        codes = np.clip(np.rint(exact), least, most)
        faults = np.where((codes <= least) | (codes >= most), int(Fault.SATURATED), 0)
        faults[broken] = int(self.fault)
        codes[broken] = most if self.fault is Fault.SATURATED else 0
        return Block(self.channel.name, t_s, codes.astype(np.int64), faults.astype(np.uint8))


def bridge(stream: int, name: str, rate_hz: float, counts_per_g: float, zero: int) -> Converter:
    """Return a 24-bit bridge converter; the scale is rounded as a device with 32-bit floats would send it."""
    scale = float(np.float32(1.0 / counts_per_g))
    return Converter(
        Channel(stream, name, Kind.BRIDGE_COUNTS, _period_us(rate_hz), scale, zero), np.dtype("<i4"), Fault.SATURATED
    )


def thermocouple(stream: int, name: str, rate_hz: float, step_c: float) -> Converter:
    """Return a thermocouple converter that applies the thermocouple's own function, in steps of `step_c`."""
    dtype = np.dtype("<i2") if step_c >= 0.1 else np.dtype("<i4")
    channel = Channel(stream, name, Kind.THERMOCOUPLE_LINEARISED, _period_us(rate_hz), step_c)
    return Converter(channel, dtype, Fault.OPEN)


def cold_junction(stream: int, serves: Channel, rate_hz: float) -> Converter:
    """Return the thermometer in a thermocouple converter, in steps of 1/16 °C."""
    channel = Channel(stream, f"{serves.name}_cj", Kind.COLD_JUNCTION, _period_us(rate_hz), 1 / 16, serves=serves.id)
    return Converter(channel, np.dtype("<i2"), Fault.COLD_JUNCTION)


def thermometer(stream: int, name: str, rate_hz: float) -> Converter:
    """Return a slow thermometer in steps of 1/16 °C."""
    return Converter(
        Channel(stream, name, Kind.TEMPERATURE, _period_us(rate_hz), 1 / 16), np.dtype("<i2"), Fault.NO_ANSWER
    )


def barometer(stream: int, name: str, rate_hz: float) -> Converter:
    """Return a barometer in steps of 1 Pa."""
    return Converter(Channel(stream, name, Kind.PRESSURE, _period_us(rate_hz), 1.0), np.dtype("<i4"), Fault.NO_ANSWER)


def _period_us(rate_hz: float) -> int:
    return round(1e6 / rate_hz)
