"""What each phase of a burn did: how long it lasted, what it burnt, how fast and with how much heat."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, nominal_value
from uncertainties.core import to_affine_scalar

from emberline.curves.events import Phase
from emberline.heat.burn import Burn
from emberline.heat.errors import AbsentError
from emberline.heat.moments import attempt, uncertain
from emberline.heat.result import Result

KINDLED_U_S = 10.0
"""Standard uncertainty of the moment when kindling has become flaming: the smoother's reach at one spot of a rising
rate."""


@dataclass(frozen=True, slots=True)
class PhaseResult:
    """What one phase did. A result that cannot be known is None.

    Attributes:
        phase: Kindling, flaming or char.
        start_s: When it began, seconds from the first sample.
        end_s: When it ended; the end of the record for the char phase.
        duration: How long it lasted.
        fuel_mass_lost: Mass lost by the fuel, starter not counted.
        burning_rate_mean: Mass lost by fuel and starter over the duration.
        firepower_mean: Heat released over the duration; an upper value for char, which burns partly to carbon monoxide.
        water_evaporated: Water that left the pot meanwhile; None also where no pot stood on the stove.
    """

    phase: Phase
    start_s: float
    end_s: float
    duration: Result
    fuel_mass_lost: Result | None
    burning_rate_mean: Result | None
    firepower_mean: Result | None
    water_evaporated: Result | None


def phase_results(burn: Burn) -> tuple[PhaseResult, ...]:
    """Return the phases of a burn in their order; none where it was not lit, no char phase without a flameout."""
    return tuple(_phase(burn, *limits) for limits in _limits(burn))


def _limits(burn: Burn) -> Iterator[tuple[Phase, UFloat, UFloat]]:
    lit = attempt(lambda: burn.moments.lit)
    seconds = burn.account.t_s
    if lit is None or not len(seconds):
        return
    out = attempt(lambda: burn.moments.flameout)
    record_end = to_affine_scalar(float(seconds[-1]))
    end = out if out is not None else record_end
    # Where the rate is not known, nobody can tell kindling from flaming.
    known = burn.account.has_mass and bool(np.isfinite(burn.account.burning_rate_g_min).any())
    flaming = np.flatnonzero([phase is Phase.FLAMING for phase in burn.account.phase]) if known else np.zeros(0, int)
    kindled = uncertain(float(seconds[flaming[0]]), KINDLED_U_S, "kindled") if len(flaming) else lit
    for phase, low, high in (
        (Phase.KINDLING, lit, kindled),
        (Phase.FLAMING, kindled, end),
        (Phase.CHAR, end, record_end),
    ):
        if nominal_value(high - low) > 0:
            yield phase, low, high


def _phase(burn: Burn, phase: Phase, start: UFloat, end: UFloat) -> PhaseResult:
    duration_s = end - start

    def lost_g() -> UFloat:
        return burn.lost_g(start, end)

    def released_j() -> UFloat:
        return lost_g() * burn.char_lhv if phase is Phase.CHAR else burn.released_j(start, end)

    def fuel_lost_g() -> UFloat:
        if phase is Phase.CHAR:
            return lost_g()
        fuel_g = lost_g() - burn.starter_lost_g(start, end)
        if nominal_value(fuel_g) <= 0.0:
            raise AbsentError("what was lost may all have been starter")
        return fuel_g

    return PhaseResult(
        phase,
        float(start.nominal_value),
        float(end.nominal_value),
        Result(duration_s, "s"),
        _known(fuel_lost_g, "g"),
        _known(lambda: 60.0 * lost_g() / duration_s, "g/min"),
        _known(lambda: released_j() / duration_s, "W"),
        _known(lambda: burn.water_lost_g(start, end), "g"),
    )


def _known(figure: Callable[[], UFloat], unit: str) -> Result | None:
    try:
        value = figure()
    except AbsentError:
        return None
    return Result(value, unit) if np.isfinite(value.nominal_value) and np.isfinite(value.std_dev) else None
