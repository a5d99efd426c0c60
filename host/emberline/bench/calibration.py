"""Calibrations: from what a converter sends to a physical value."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from emberline.bench import thermocouple
from emberline.bench.errors import CalibrationError

SATURATED_24_BIT = float(0x7FFFFF)
"""Largest code of a signed 24-bit converter: at it, or one below its negative, the bridge is out of range."""


@dataclass(frozen=True, slots=True)
class Identity:
    """The source calibrates: its numbers are already in the channel's unit."""

    def apply(
        self, raw: NDArray[np.float64], cold_junction_c: NDArray[np.float64] | None = None
    ) -> NDArray[np.float64]:
        """Return the values as they came, as a copy; the cold junction plays no part."""
        return np.array(raw, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Linear:
    """Counts on a straight line: value = (raw - zero_counts) / counts_per_unit + correction.

    Attributes:
        zero_counts: Counts of an empty load cell (or of zero, for any other sensor).
        counts_per_unit: Counts per gram, degree or whatever the channel's unit is; negative for swapped leads.
        saturated_counts: Codes at or beyond it, either way, say that the converter is out of range.
        correction: Added to every value, in the channel's unit, as a probe's was found in ice or in boiling water.
    """

    zero_counts: float
    counts_per_unit: float
    saturated_counts: float = SATURATED_24_BIT
    correction: float = 0.0

    def __post_init__(self) -> None:
        if not (np.isfinite(self.zero_counts) and np.isfinite(self.counts_per_unit)) or self.counts_per_unit == 0.0:
            raise CalibrationError("counts_per_unit must be a number other than 0: calibrate with a known mass")

    def apply(
        self, raw: NDArray[np.float64], cold_junction_c: NDArray[np.float64] | None = None
    ) -> NDArray[np.float64]:
        """Return calibrated values, NaN for saturated codes; the cold junction plays no part."""
        value = (np.asarray(raw, dtype=np.float64) - self.zero_counts) / self.counts_per_unit + self.correction
        value[np.abs(raw) >= self.saturated_counts] = np.nan
        return value


FLAT_UV_K = {"J": 57.953, "K": 41.276, "N": 36.256, "T": 52.18}
"""Sensitivities that the common converters of one slope are made for, microvolts per kelvin: from the data sheet of the
MAX31855 (Maxim Integrated, 2012), table 1, from memory."""


@dataclass(frozen=True, slots=True)
class ThermocoupleCode:
    """Temperature codes of a thermocouple converter.

    Attributes:
        kind: Letter of the wire's type.
        degrees_per_code: Step of the code, degrees; None where the source sends degrees, or says its step itself.
        flat_uv_k: Sensitivity that the converter takes for constant, microvolts per kelvin; None where it linearises
            by itself. A flat-slope converter is right at the temperatures it was made for and 7 K high at 800 degrees
            (type K), so its voltage is rebuilt and inverted again.
        correction_c: Added to every reading, from a comparison in ice or in boiling water.
    """

    kind: str
    degrees_per_code: float | None = None
    flat_uv_k: float | None = None
    correction_c: float = 0.0

    def __post_init__(self) -> None:
        thermocouple.upper_limit_c(self.kind)
        if any(step is not None and step <= 0.0 for step in (self.degrees_per_code, self.flat_uv_k)):
            raise CalibrationError("degrees_per_code and flat_uv_k must be above 0: see the converter's data sheet")

    def apply(
        self, raw: NDArray[np.float64], cold_junction_c: NDArray[np.float64] | None = None
    ) -> NDArray[np.float64]:
        """Return temperatures in degrees; NaN for codes outside what the wire can give.

        Args:
            raw: (n,) codes.
            cold_junction_c: (n,) temperature of the cold junction in degrees; only a flat-slope converter needs it.

        Raises:
            CalibrationError: for a flat-slope converter without its cold junction.
        """
        reported_c = np.asarray(raw, dtype=np.float64) * (self.degrees_per_code or 1.0)
        lowest_c, highest_c = thermocouple.LOWEST_C, thermocouple.upper_limit_c(self.kind)
        if self.flat_uv_k is None:
            value = np.where((reported_c >= lowest_c) & (reported_c <= highest_c), reported_c, np.nan)
        else:
            if cold_junction_c is None:
                raise CalibrationError(
                    "a converter with flat_uv_k can only be linearised with its cold junction: let the device send it"
                )
            ends = thermocouple.emf_mv(self.kind, np.array([lowest_c, highest_c]))
            cold_mv = thermocouple.emf_mv(
                self.kind, np.where(np.abs(cold_junction_c) <= 150.0, cold_junction_c, np.nan)
            )
            total_mv = (reported_c - cold_junction_c) * self.flat_uv_k * 1e-3 + cold_mv
            within = (total_mv >= ends[0]) & (total_mv <= ends[1])
            value = thermocouple.temperature_c(self.kind, np.where(within, total_mv, np.nan))
        return value + self.correction_c


Calibration = Identity | Linear | ThermocoupleCode
"""Whatever turns raw codes into a channel's unit."""


def for_device(calibration: Calibration, *, scale: float, zero: float = 0.0, flat: bool = False) -> Calibration:
    """Complete a calibration with the device's nominal conversion, value = (raw - zero) * scale.

    A calibration that a person measured stands; only what the bench does not say is taken from the device.

    Args:
        calibration: What the bench says.
        scale: Size of one step of the raw value.
        zero: Raw value that stands for 0.
        flat: Whether a thermocouple's converter takes its curve for a straight line.

    Raises:
        CalibrationError: for a scale of 0, or a thermocouple whose codes do not start at 0 degrees.
    """
    if scale == 0.0 or not np.isfinite(scale):
        raise CalibrationError("the device's channel table gives no scale: put a calibration into the bench file")
    if isinstance(calibration, Identity) and not flat:
        return Linear(zero, 1.0 / scale)
    if isinstance(calibration, Identity):
        calibration = ThermocoupleCode("K")  # as is assumed of a probe of which a bench says nothing
    if isinstance(calibration, ThermocoupleCode) and calibration.degrees_per_code is None:
        if zero != 0.0:
            raise CalibrationError("thermocouple codes must start at 0 degrees: the device's zero has to be 0")
        flat_uv_k = calibration.flat_uv_k or (FLAT_UV_K.get(calibration.kind) if flat else None)
        return replace(calibration, degrees_per_code=scale, flat_uv_k=flat_uv_k)
    return calibration


def for_calibrated_source(calibration: Calibration) -> Calibration:
    """Reduce a calibration to what still applies to values that are already in the channel's unit, as in a CSV file.

    That is the correction of a probe; counts and converters lie behind such values.
    """
    if isinstance(calibration, ThermocoupleCode):
        return replace(calibration, degrees_per_code=None, flat_uv_k=None)
    return Identity()


@dataclass(frozen=True, slots=True)
class BridgeFit:
    """A load cell's calibration against known masses.

    Attributes:
        calibration: The straight line.
        linearity: Largest departure of a point of the way up from the line, in the channel's unit.
        hysteresis: Largest difference between the way up and the way back at one load, in the channel's unit; 0 where
            no load was repeated.
        checked: Whether there was a third point, so that linearity or hysteresis could show.
        u_slope: Relative standard uncertainty of the span.
    """

    calibration: Linear
    linearity: float
    hysteresis: float
    checked: bool
    u_slope: float


def fitted(points: Sequence[tuple[float, float]], *, u_load: float = 0.05) -> BridgeFit:
    """Fit a straight line to (load, counts) pairs in the order in which they were taken.

    Two points give the slope, a point between them the linearity, a load repeated on the way back the hysteresis.
    The span's uncertainty joins that of the masses with a rectangular distribution whose half-width is the larger of
    the linearity and half the hysteresis (JCGM 100:2008, 4.3.7).

    Args:
        points: Known load and the converter's mean counts.
        u_load: Standard uncertainty of a known load; 0.05 g suits masses of class M1 up to 1 kg (OIML R 111).

    Raises:
        CalibrationError: where fewer than two different loads are given, or the counts do not follow the load.
    """
    loads = np.array([load for load, _ in points], dtype=np.float64)
    counts = np.array([count for _, count in points], dtype=np.float64)
    if len(set(loads.tolist())) < 2:
        raise CalibrationError("a calibration needs two different loads at least, such as 0 g and 1000 g")
    centre = loads - loads.mean()
    slope = float(centre @ (counts - counts.mean()) / (centre @ centre))
    if slope == 0.0 or not np.isfinite(slope):
        raise CalibrationError("the counts do not change with the load: check the bridge's wiring")
    zero = float(counts.mean() - slope * loads.mean())
    first: dict[float, float] = {}
    residuals: list[float] = []
    returns: list[float] = []
    for load, count in zip(loads.tolist(), counts.tolist(), strict=True):
        if load in first:
            returns.append(abs(count - first[load]) / abs(slope))
        else:
            first[load] = count
            residuals.append(abs(count - zero - slope * load) / abs(slope))
    linearity, hysteresis = max(residuals), max(returns, default=0.0)
    span = float(loads.max() - loads.min())
    u_slope = hypot(max(linearity, hysteresis / 2.0) / sqrt(3.0), u_load) / span
    return BridgeFit(Linear(zero, slope), linearity, hysteresis, len(loads) > 2, u_slope)
