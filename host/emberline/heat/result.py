"""A result: an uncertain number with a unit and the inputs that its uncertainty comes from."""

from collections import defaultdict
from dataclasses import dataclass

from uncertainties import UFloat
from uncertainties.core import AffineScalarFunc

COVERAGE_95 = 1.959964
"""Half-width of the central 95 % of a normal distribution, in standard deviations."""


@dataclass(frozen=True, slots=True)
class Result:
    """One line of a summary.

    Attributes:
        value: The number with its uncertainty; the tags of its variables name the inputs.
        unit: Unit, empty for a fraction.
    """

    value: UFloat
    unit: str

    @property
    def interval_95(self) -> tuple[float, float]:
        """The central 95 % interval of a normal distribution."""
        half = COVERAGE_95 * self.value.std_dev
        return self.value.nominal_value - half, self.value.nominal_value + half

    @property
    def budget(self) -> dict[str, float]:
        """Signed contribution of each named input to the standard uncertainty, in alphabetical order of the names.

        Inputs that share a tag are one input; the sum of squares is the variance (JCGM 100:2008, 5.1.2).
        """
        parts: defaultdict[str, float] = defaultdict(float)
        squares: defaultdict[str, float] = defaultdict(float)
        value: AffineScalarFunc = self.value
        for variable, derivative in value.derivatives.items():
            contribution = derivative * variable.std_dev
            tag = variable.tag or "unnamed"
            squares[tag] += contribution**2
            parts[tag] += contribution
        signed = {tag: (1.0 if parts[tag] >= 0 else -1.0) * squares[tag] ** 0.5 for tag in squares}
        return {tag: signed[tag] for tag in sorted(signed) if signed[tag] != 0.0}


@dataclass(frozen=True, slots=True)
class QualityNote:
    """Something about a trial that a reader of its numbers should know.

    Attributes:
        code: Short fixed name for programs, such as `wind` or `mass_only_flameout`.
        text: A sentence for a person.
    """

    code: str
    text: str
