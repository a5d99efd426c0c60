"""What a scenario may say of a bench's channels. Every field is a TOML key; units are in the names."""

from dataclasses import dataclass
from typing import Literal

ProbeSpot = Literal["middle", "base", "surface", "wall"]
Converter = Literal["coarse", "fine"]


@dataclass(frozen=True, slots=True)
class FaultSpec:
    """A stretch of time in which a thermocouple is broken.

    Attributes:
        kind: `open` (the converter reports a fault), `short` (it reads its own temperature), `out` (the probe fell out
            of the water).
        from_s: Start.
        to_s: End; absent: to the end of the record.

    """

    kind: Literal["open", "short", "out"]
    from_s: float
    to_s: float | None = None


@dataclass(frozen=True, slots=True)
class ProbeSpec:
    """The type K probe in the water, with its converter.

    Attributes:
        rate_hz: Nominal sampling rate.
        lag_s: Time constant in water (a 3 mm sheath: 1.2 to 1.7 s).
        air_lag_s: Time constant in air.
        bias_c: Constant error of wire and converter.
        gain: Relative error of the span.
        cold_junction_c: Error of the cold junction once the bench is warm; it grows with the burn.
        noise_c: Standard deviation of a reading.
        converter: `coarse` steps of 0.25 °C, `fine` steps of 1/128 °C.
        spot: Where in the pot the tip hangs.
        stays_in_pot: Whether it goes with a lifted pot; if not, it hangs in the air meanwhile.
        faults: Broken stretches.

    """

    rate_hz: float = 4.0
    lag_s: float = 1.6
    air_lag_s: float = 25.0
    bias_c: float = 0.0
    gain: float = 0.0
    cold_junction_c: float = 0.0
    noise_c: float = 0.08
    converter: Converter = "coarse"
    spot: ProbeSpot = "middle"
    stays_in_pot: bool = True
    faults: tuple[FaultSpec, ...] = ()


@dataclass(frozen=True, slots=True)
class FlameProbeSpec:
    """The type K probe in the flame.

    Attributes:
        rate_hz: Nominal sampling rate.
        bead_mm: Diameter of the bead or sheath, which sets its lag and how much it radiates.
        gas_c: Temperature of the flame's gas at nominal power.
        char_gas_c: Temperature of the gas over freshly glowing char.
        flicker_c: Standard deviation of the gas temperature.
        noise_c: Standard deviation of a reading.
        converter: As for the water probe.
        gain: Relative error of the span.
        faults: Broken stretches.

    """

    rate_hz: float = 4.0
    bead_mm: float = 1.5
    gas_c: float = 880.0
    char_gas_c: float = 500.0
    flicker_c: float = 80.0
    noise_c: float = 0.4
    converter: Converter = "coarse"
    gain: float = 0.005
    faults: tuple[FaultSpec, ...] = ()


@dataclass(frozen=True, slots=True)
class BalanceSpec:
    """The load cell under the stove (or under the pot) with its bridge converter.

    Attributes:
        rate_hz: Nominal conversions per second, before `every`.
        every: Only each n-th conversion is sent.
        capacity_g: Load at which the converter saturates.
        counts_per_g: Resolution.
        noise_g: Standard deviation of one conversion.
        flicker_g: Standard deviation of the slow part of the noise.
        span: Relative error of the span (calibration and off-centre load).
        off_centre: Further relative error of the span for the pot's weight, which stands elsewhere than the fuel.
        creep: Relative creep after a change of load.
        drift_g_k: Shift of the zero per kelvin of the cell.
        cell_rise_c: Warming of the cell under a long burn at nominal power.
        draught_g: Upward force of the hot gas at nominal power: a false loss.
        wind_g_m2s2: Force of the wind per square of its speed.
        spikes_per_h: Absurd conversions per hour.
        zero_g: Reading of the empty cell.
        tared_with_stove: Whether the stove was on when the zero was set.
        stuck: Stretches (from, to) in which the converter repeats itself.

    """

    rate_hz: float = 10.0
    every: int = 1
    capacity_g: float = 5000.0
    counts_per_g: float = 419.0
    noise_g: float = 0.08
    flicker_g: float = 0.05
    span: float = 0.0
    off_centre: float = 0.0
    creep: float = 0.0003
    drift_g_k: float = 0.1
    cell_rise_c: float = 8.0
    draught_g: float = 0.9
    wind_g_m2s2: float = 1.2
    spikes_per_h: float = 2.0
    zero_g: float = 0.0
    tared_with_stove: bool = False
    stuck: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class AmbientSpec:
    """A slow thermometer in the air or on the load cell: rate and noise."""

    rate_hz: float = 0.5
    noise_c: float = 0.05


@dataclass(frozen=True, slots=True)
class PressureSpec:
    """A barometer: rate, noise and bias."""

    rate_hz: float = 0.2
    noise_pa: float = 8.0
    bias_pa: float = 0.0


@dataclass(frozen=True, slots=True)
class ChannelsSpec:
    """The channels that this bench has; what is absent is not fitted."""

    water: ProbeSpec | None = None
    flame: FlameProbeSpec | None = None
    mass: BalanceSpec | None = None
    pot_mass: BalanceSpec | None = None
    ambient: AmbientSpec | None = None
    cell_temperature: AmbientSpec | None = None
    pressure: PressureSpec | None = None


@dataclass(frozen=True, slots=True)
class GapSpec:
    """A stretch without readings. An empty list of channels means all."""

    from_s: float
    to_s: float
    channels: tuple[str, ...] = ()
