"""Units of SenML that a bench can use, and how they become its own.

Names are those of the registry that RFC 8428 began (section 12.1) and RFC 8798 extended by secondary units (section 3).
"""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Conversion:
    """From a unit of SenML to one of a bench: value = number x factor + offset.

    Attributes:
        unit: `c`, `g`, `pa` or `ppm`.
        factor: Size of the unit.
        offset: Value at 0.
    """

    unit: str
    factor: float = 1.0
    offset: float = 0.0

    def apply(self, number: float) -> float:
        """Return the value in the bench's unit."""
        return number * self.factor + self.offset


CONVERSIONS: Mapping[str, Conversion] = {
    "Cel": Conversion("c"),
    "K": Conversion("c", 1.0, -273.15),
    "kg": Conversion("g", 1_000.0),
    "g": Conversion("g"),
    "Pa": Conversion("pa"),
    "hPa": Conversion("pa", 100.0),
    "/": Conversion("ppm", 1e6),
    "%": Conversion("ppm", 1e4),
    "/100": Conversion("ppm", 1e4),
    "ppm": Conversion("ppm"),
}


def conversion(unit: str) -> Conversion:
    """Return how a unit becomes one of a bench; one of no use to a bench stays as it is, under its own name.

    Without a unit the numbers are taken for counts of a converter, which the bench file calibrates.
    """
    return CONVERSIONS.get(unit) or Conversion(unit)
