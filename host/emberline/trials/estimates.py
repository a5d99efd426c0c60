"""What a live run estimates beside the events."""

from dataclasses import dataclass
from typing import NamedTuple

from uncertainties import UFloat

from emberline.trials.forecast import Forecast, NoForecast

NO_POT = NoForecast("no pot stands on the fire")
NOT_LIT = NoForecast("the fire is not lit yet")


class Plain(NamedTuple):
    """A number and its standard uncertainty, without what it is correlated with: little to hand on and to compare."""

    nominal_value: float
    std_dev: float


def plain(value: UFloat | None) -> Plain | None:
    """Return a number that is not reckoned with any further; None for None."""
    return None if value is None else Plain(float(value.nominal_value), float(value.std_dev))


@dataclass(frozen=True, slots=True)
class PotWater:
    """The water of the pot that stands.

    Attributes:
        lost_g: What has left it since it was set on.
        filled_g: What was poured in; None where nobody knows.
    """

    lost_g: UFloat
    filled_g: UFloat | None = None

    @property
    def left_g(self) -> UFloat | None:
        """What is left in it; None where nobody knows what was poured in."""
        return None if self.filled_g is None else self.filled_g - self.lost_g


@dataclass(frozen=True, slots=True)
class Estimates:
    """What a live run estimates beside the events.

    Attributes:
        rate_g_min: Burning rate; None where it is not known.
        firepower_w: Heat that the fire releases; None where it is not known.
        held: Whether steam hides it, so that it is what the pot's heat balance leaves.
        burnt_g: What the fuel has lost since it was lit.
        boil: Forecast of the boil.
        flameout: Forecast of the flameout.
        water_left_g: Water left in the pot that stands; None where none does, or nobody can tell.
        progress: Share of the present phase that has passed, 0 to 1; None where nobody can tell.
    """

    rate_g_min: Plain | None = None
    firepower_w: Plain | None = None
    held: bool = False
    burnt_g: Plain | None = None
    boil: Forecast | NoForecast = NO_POT
    flameout: Forecast | NoForecast = NOT_LIT
    water_left_g: Plain | None = None
    progress: float | None = None
