"""Channels: the measured quantities of a bench."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from math import hypot, sqrt
from types import MappingProxyType

from emberline.bench.calibration import Calibration, Identity


class Role(StrEnum):
    """What a channel measures."""

    WATER = "water"
    FLAME = "flame"
    AMBIENT = "ambient"
    MASS = "mass"
    POT_MASS = "pot_mass"
    CELL_TEMPERATURE = "cell_temperature"
    PRESSURE = "pressure"
    CO = "co"


@dataclass(frozen=True, slots=True)
class _Sensor:
    unit: str
    words: str
    u_bias: float
    u_scale: float
    u_drift_per_hour: float
    resolution: float
    time_constant_s: float = 0.0
    u_time_constant_s: float = 0.0


# Water and flame: class-2 type K wire is good to 2.5 K or 0.75 % (IEC 60584-1), a cheap converter adds 2 K (maker's
# data sheet, 0.25 K steps); both as half-widths of rectangular distributions (JCGM 100:2008, 4.3.7):
# sqrt(2.5^2 + 2^2) / sqrt(3) = 1.85 K and 0.75 % / sqrt(3) = 0.43 %.
# Lag of a 3 mm sheath from cable makers' response tables: t50 1.2 s and t90 2.9 s in flowing water, 23 and 80 s in
# flowing air, so 1.5 s and 34 s; two makers differ by half.
# Load cell: a 5 kg beam cell with linearity, hysteresis and zero drift (per 10 K) of 0.05 % of capacity each (typical
# data sheet): 2.5 g / sqrt(3) = 1.4 g, and 2 g an hour beside a stove that warms it by some 10 K; kitchen masses for
# the span, 0.2 %.
# Drift of the probes (0.3 K an hour) and the entries of the last three roles: common practice, no source.
_WIRE = "class-2 type K wire, 3 mm sheath, cheap converter"
_WIRE_IN_AIR = _Sensor("c", _WIRE, 1.85, 0.0043, 0.3, 0.25, 34.0, 10.0)
_LOAD_CELL = _Sensor("g", "hobby 5 kg load cell, calibrated with kitchen masses", 1.4, 0.002, 2.0, 0.1)

_SENSORS: Mapping[Role, _Sensor] = {
    Role.WATER: _Sensor("c", _WIRE, 1.85, 0.0043, 0.3, 0.25, 1.5, 0.4),
    Role.FLAME: _WIRE_IN_AIR,
    Role.AMBIENT: _WIRE_IN_AIR,
    Role.MASS: _LOAD_CELL,
    Role.POT_MASS: _LOAD_CELL,
    Role.CELL_TEMPERATURE: _Sensor("c", "semiconductor sensor on the load cell", 0.5, 0.0, 0.0, 0.0625, 60.0, 30.0),
    Role.PRESSURE: _Sensor("pa", "barometric sensor at the bench", 100.0, 0.0, 0.0, 1.0),
    Role.CO: _Sensor("ppm", "electrochemical sensor", 5.0, 0.1, 2.0, 1.0, 20.0, 10.0),
}

UNITS: Mapping[Role, str] = MappingProxyType({role: sensor.unit for role, sensor in _SENSORS.items()})
"""Unit of each role's values, as column names carry it: degrees Celsius, grams, pascals, parts per million."""

_PRINTED_UNIT = {"c": "°C", "g": "g", "pa": "Pa", "ppm": "ppm"}


@dataclass(frozen=True, slots=True)
class Warmth:
    """How the zero of a load cell goes with its temperature, from a warm-up run of the empty bench.

    Attributes:
        g_per_k: What it shows more for each kelvin.
        u_g_per_k: Standard uncertainty of that.
        u_drift_per_hour: Standard uncertainty of the drift that is left once this is taken off, grams per hour.
    """

    g_per_k: float
    u_g_per_k: float
    u_drift_per_hour: float


@dataclass(frozen=True, slots=True)
class Calibrated:
    """Which of a person's calibrations is in a channel's numbers.

    Attributes:
        kind: What was calibrated: `mass`, `probe` or `drift`.
        number: Its number in the store.
        made: When, ISO 8601 in UTC.
    """

    kind: str
    number: int
    made: str


@dataclass(frozen=True, slots=True)
class Channel:
    """One measured quantity of a bench. All uncertainties are standard uncertainties.

    Attributes:
        name: Name within the bench.
        role: What it measures.
        unit: Unit of its calibrated values, fixed by the role (`UNITS`).
        calibration: From raw to `unit`; `Identity` where the source calibrates.
        u_bias: Of an error that stays the same throughout a trial, in `unit`.
        u_scale: Of the span, relative.
        u_drift_per_hour: Of a slow drift, in `unit` per hour.
        resolution: Step of the readings, in `unit`.
        time_constant_s: Lag of the sensor, 0 for a load cell.
        u_time_constant_s: Its standard uncertainty.
        source: Name of the device's channel; None where it is `name`.
        capacity_g: Of a load cell: what it can carry in all, counted from its zero; None where nobody says.
        warmth: Of a load cell: how its zero goes with the temperature of the cell; None where nobody found that.
        calibrated: Which of a person's calibrations, kept in the store, are in these numbers.
    """

    name: str
    role: Role
    unit: str
    calibration: Calibration = field(default_factory=Identity)
    u_bias: float = 0.0
    u_scale: float = 0.0
    u_drift_per_hour: float = 0.0
    resolution: float = 0.0
    time_constant_s: float = 0.0
    u_time_constant_s: float = 0.0
    source: str | None = None
    capacity_g: float | None = None
    warmth: Warmth | None = None
    calibrated: tuple[Calibrated, ...] = ()

    def u_reading(self, value: float) -> float:
        """Return the standard uncertainty of one reading, in `unit`; drift and lag are not in it.

        Constant error, span, and a step as a rectangular distribution (JCGM 100:2008, 4.3.7), in quadrature.
        """
        return hypot(self.u_bias, self.u_scale * value, self.resolution / sqrt(12.0))


def default_channel(role: Role, name: str | None = None) -> Channel:
    """Return what is assumed about a channel when no bench file describes it.

    Args:
        role: What the channel measures.
        name: Name within the bench; by default the role's.
    """
    sensor = _SENSORS[role]
    return Channel(
        name=name or role.value,
        role=role,
        unit=sensor.unit,
        calibration=Identity(),
        u_bias=sensor.u_bias,
        u_scale=sensor.u_scale,
        u_drift_per_hour=sensor.u_drift_per_hour,
        resolution=sensor.resolution,
        time_constant_s=sensor.time_constant_s,
        u_time_constant_s=sensor.u_time_constant_s,
    )


def assumed_sensor(role: Role) -> str:
    """Return the sensor that `default_channel` has in mind, in words."""
    return _SENSORS[role].words


def describe_assumptions(channel: Channel) -> str:
    """Return one sentence for a summary's quality notes: the uncertainties that a channel was given."""
    unit = _PRINTED_UNIT[channel.unit]
    parts = [f"{channel.u_bias:g} {unit} of constant error"]
    if channel.u_scale:
        parts.append(f"{100.0 * channel.u_scale:g} % of span")
    if channel.u_drift_per_hour:
        parts.append(f"{channel.u_drift_per_hour:g} {unit} of drift an hour")
    if channel.resolution:
        parts.append(f"steps of {channel.resolution:g} {unit}")
    if channel.time_constant_s:
        parts.append(f"a lag of {channel.time_constant_s:g} ± {channel.u_time_constant_s:g} s")
    sensor = assumed_sensor(channel.role)
    listed = f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else parts[0]
    return f"Channel {channel.name} (assumed: {sensor}): {listed}, as standard uncertainties."
