"""A microcontroller wired to the channels of a recording."""

from collections.abc import Iterator

import numpy as np

from emberline_sim.device.converters import (
    Block,
    Converter,
    barometer,
    bridge,
    cold_junction,
    thermocouple,
    thermometer,
)
from emberline_sim.recording import ChannelRecord, Recording
from emberline_sim.specs import BalanceSpec

BLOCK_S = 10.0
"""Length of the blocks in which readings are handed to the device."""
COLD_JUNCTION_HZ = 1.0
COLD_JUNCTION_RISE_C = 6.0
COLD_JUNCTION_WARMING_S = 1800.0
"""A converter's board warms by a few kelvin near the stove (common practice, no source)."""
ZERO_COUNTS = {"mass": 84_213, "pot_mass": -31_660}
"""Code of the empty cell: some offset is always there."""
THERMOCOUPLES = ("water", "flame")


def wire(recording: Recording) -> tuple[list[Converter], Iterator[Block]]:
    """Return a converter for each channel of a recording, with cold junctions, and all readings in blocks of 10 s."""
    converters: list[Converter] = []
    readings: list[Block] = []
    for name, record in recording.channels.items():
        converter = _converter(len(converters), name, record, recording)
        converters.append(converter)
        readings.append(converter.convert(record.t_s, record.value))
        if name in THERMOCOUPLES:
            junction = cold_junction(len(converters), converter.channel, COLD_JUNCTION_HZ)
            t_s = np.arange(0.5, recording.scenario.duration_s, 1.0 / COLD_JUNCTION_HZ)
            warming = 1.0 - np.exp(-t_s / COLD_JUNCTION_WARMING_S)
            converters.append(junction)
            readings.append(junction.convert(t_s, recording.scenario.place.ambient_c + COLD_JUNCTION_RISE_C * warming))
    return converters, cut(readings, BLOCK_S)


def cut(readings: list[Block], length_s: float) -> Iterator[Block]:
    """Yield pieces of at most `length_s` of all readings, ordered by the time of their first."""
    end_s = max((float(block.t_s[-1]) for block in readings if len(block)), default=0.0)
    for start_s in np.arange(0.0, end_s + length_s, length_s):
        pieces = []
        for block in readings:
            within = slice(*np.searchsorted(block.t_s, [start_s, start_s + length_s]))
            if within.start < within.stop:
                pieces.append(Block(block.channel, block.t_s[within], block.raw[within], block.faults[within]))
        yield from sorted(pieces, key=lambda piece: float(piece.t_s[0]))


def _converter(stream: int, name: str, record: ChannelRecord, recording: Recording) -> Converter:
    spec = getattr(recording.scenario.channels, name)
    rate_hz = spec.rate_hz
    if record.unit == "g":
        cell: BalanceSpec = spec
        rate_hz /= cell.every
        return bridge(stream, name, rate_hz, cell.counts_per_g, ZERO_COUNTS[name])
    if record.unit == "pa":
        return barometer(stream, name, rate_hz)
    if name in THERMOCOUPLES:
        quarters = record.value[np.isfinite(record.value)] * 4.0
        return thermocouple(stream, name, rate_hz, 0.25 if np.array_equal(quarters, np.rint(quarters)) else 1 / 128)
    return thermometer(stream, name, rate_hz)
