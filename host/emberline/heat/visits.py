"""The pot's visits to the stove: when flame heated it, and how much heat its water took."""

from collections.abc import Callable
from functools import cached_property

import numpy as np
from uncertainties import UFloat, nominal_value
from uncertainties.core import to_affine_scalar

from emberline.bench.water import LATENT_HEAT_WBT_J_G, latent_heat_j_g
from emberline.curves.events import EventKind
from emberline.heat.account import Visit
from emberline.heat.burn import Burn
from emberline.heat.combustion import efficiency
from emberline.heat.errors import AbsentError
from emberline.heat.moments import attempt, chance_sooner, earlier, uncertain
from emberline.heat.water import effective_water_g, heat_into_water_j, refuse_impossible_loss

NO_PROBE = "the water's temperature is not known: put a probe into the pot"
_SLOPE_REACH_S = 15.0


class Visits:
    """All visits of one burn. Visits that begin after flameout get no flame heat and are left out of the heat sums.

    Args:
        burn: The burn during which they took place.
    """

    def __init__(self, burn: Burn) -> None:
        self.burn = burn
        self.all = burn.account.visits
        # An end has a variable of its own: asked for twice, it must be the same.
        self._ends: dict[float, UFloat] = {}

    @cached_property
    def heated(self) -> list[Visit]:
        """Visits during which the stove flamed; AbsentError where there were none."""
        if not self.all:
            raise AbsentError(self._no_pot)
        heated = [visit for visit in self.all if attempt(lambda v=visit: self.window(v)) is not None]  # type: ignore[misc]
        if not heated:
            raise AbsentError("the pot stood on the stove only while there was no flame")
        return heated

    def expect_boil(self) -> None:
        """Raise AbsentError where no boil can be expected: without a pot, or without a probe in it."""
        if self.burn.moments.of_kind(EventKind.BOIL):
            return
        if not self.all and self.burn.plan.pot is None and self.burn.account.has_mass:
            raise AbsentError(self._no_pot)
        if self.all and all(visit.water_heat_end_c is None for visit in self.all):
            raise AbsentError(next((_no_water(visit) for visit in self.all if visit.unread_s is not None), NO_PROBE))

    @property
    def _no_pot(self) -> str:
        if not self.burn.account.has_mass:
            return "the bench has no load cell: nobody can tell when the pot stood on the stove and what evaporated"
        if self.burn.plan.pot is None:
            return "no pot stood on the stove"
        return "the load cell shows no pot: where it stood beside the cell, nobody can tell since when, nor its steam"

    def window(self, visit: Visit) -> tuple[UFloat, UFloat]:
        """Moments between which flame heated the pot: later of pot on and lit, to earlier of its end and flameout."""
        moments = self.burn.moments
        start, end = moments.near(EventKind.POT_ON, visit.pot_on_s), self._end(visit)
        lit = attempt(lambda: moments.lit)
        if lit is not None and nominal_value(lit - start) > 0:
            start = lit
        if not nominal_value(end - start) > 0:
            raise AbsentError("the pot stood on the stove only while there was no flame")
        return start, end

    def heat_j(self, visit: Visit) -> UFloat:
        """Heat into the water from pot on to the earlier of its end and flameout."""
        if visit.water_start_g is None:
            raise AbsentError("nobody weighed the water: enter pot.water_g in the plan")
        if visit.water_start_c is None or visit.water_heat_end_c is None:
            raise AbsentError(_no_water(visit))
        evaporated_g = self.evaporated_flaming_g(visit)
        warmed = nominal_value(visit.water_heat_end_c - visit.water_start_c) > 0
        if not warmed and visit.boil_s is None:
            raise AbsentError("the water did not become warmer: check that the probe was in it")
        return heat_into_water_j(
            visit.water_start_g,
            visit.water_start_c,
            self._end_c(visit),
            evaporated_g,
            evaporates_at_c=visit.evaporates_at_c,
            latent_heat_j_g=_latent_heat_j_g(visit.evaporates_at_c),
        )

    def _end_c(self, visit: Visit) -> UFloat:
        """Temperature at the end of the flame's heat; an uncertain end counts with the curve's slope thereabouts."""
        return visit.water_heat_end_c + visit.heat_end_slope_k_s * self._unsure_s(visit)

    def evaporated_flaming_g(self, visit: Visit) -> UFloat:
        """Water that left by flameout; an uncertain flameout counts with the rate at which water left thereabouts."""
        if visit.evaporated_flaming_g is None:
            raise AbsentError(
                "what evaporated is not known: lift the pot before the record ends, or weigh it afterwards "
                "and enter pot.final_water_g"
            )
        flameout = attempt(lambda: self.burn.moments.flameout)
        if flameout is None:
            return visit.evaporated_flaming_g
        # What had left by the lifting was weighed, whenever that was.
        end = self._lifted(visit)
        unsure_s = self._unsure_s(visit) - (1.0 - chance_sooner(flameout, end)) * (end - end.nominal_value)
        return visit.evaporated_flaming_g + self._water_loss_g_s(flameout, visit) * unsure_s

    def effective_water_g(self, visit: Visit) -> UFloat:
        """Effective mass of water that a visit boiled; a visit that boiled counts in full."""
        if visit.water_start_g is None:
            raise AbsentError("nobody weighed the water: enter pot.water_g in the plan")
        evaporated_g = self.evaporated_flaming_g(visit)
        refuse_impossible_loss(visit.water_start_g, evaporated_g)
        left_g = visit.water_start_g - evaporated_g
        if visit.boil_s is not None:
            return left_g
        if visit.water_start_c is None or visit.water_heat_end_c is None:
            raise AbsentError(_no_water(visit))
        return effective_water_g(left_g, visit.water_start_c, visit.water_heat_end_c, self.burn.boiling_point)

    def efficiency(self, visit: Visit) -> UFloat:
        """Heat into the water of a visit over the heat released in its window."""
        return efficiency(self.heat_j(visit), self.burn.released_j(*self.window(visit)))

    # Sums over all visits that flame heated.

    @cached_property
    def total_heat_j(self) -> UFloat:
        """Heat into the water of all visits."""
        return self._sum(self.heat_j)

    @cached_property
    def total_window_s(self) -> UFloat:
        """Time during which flame heated a pot."""
        return self._sum(lambda visit: self.window(visit)[1] - self.window(visit)[0])

    @cached_property
    def total_released_j(self) -> UFloat:
        """Heat that the stove released in the windows."""
        return self._sum(lambda visit: self.burn.released_j(*self.window(visit)))

    @cached_property
    def total_effective_water_g(self) -> UFloat:
        """Effective mass of water boiled; AbsentError where no visit boiled."""
        if not any(visit.boil_s is not None for visit in self.heated):
            self.expect_boil()
            raise AbsentError("the water never boiled, as far as its probe tells")
        return self._sum(self.effective_water_g)

    @cached_property
    def total_evaporated_g(self) -> UFloat:
        """Water that left from pot on to pot off, or to the end of the record."""
        if not self.all:
            raise AbsentError(self._no_pot)
        total = to_affine_scalar(0.0)
        for visit in self.all:
            if visit.evaporated_g is None:
                raise AbsentError(
                    "what evaporated is not known: lift the pot before the record ends, or weigh it afterwards "
                    "and enter pot.final_water_g"
                )
            if visit.water_start_g is not None:
                refuse_impossible_loss(visit.water_start_g, visit.evaporated_g)
            total += visit.evaporated_g
        return total

    def _sum(self, of: Callable[[Visit], UFloat]) -> UFloat:
        total = to_affine_scalar(0.0)
        for visit in self.heated:
            try:
                total += of(visit)
            except AbsentError as exc:
                if len(self.all) == 1:
                    raise
                raise AbsentError(f"visit {self.all.index(visit) + 1} of the pot: {exc}") from exc
        return total

    def _end(self, visit: Visit) -> UFloat:
        """Earlier of a visit's end and flameout."""
        if visit.pot_on_s not in self._ends:
            end = self._lifted(visit)
            flameout = attempt(lambda: self.burn.moments.flameout)
            self._ends[visit.pot_on_s] = end if flameout is None else earlier(flameout, end)
        return self._ends[visit.pot_on_s]

    def _lifted(self, visit: Visit) -> UFloat:
        return self.burn.moments.near(EventKind.POT_OFF, visit.end_s)

    def _unsure_s(self, visit: Visit) -> UFloat:
        """How much later the flame's heat ended than by the moments as they are stated; none without a flameout."""
        flameout = attempt(lambda: self.burn.moments.flameout)
        if flameout is None:
            return to_affine_scalar(0.0)
        return self._end(visit) - min(nominal_value(flameout), visit.end_s)

    def _water_loss_g_s(self, moment: UFloat, visit: Visit) -> float:
        """Mean rate over the stretch of a visit in which an uncertain moment may lie: the next has other water."""
        account, t_s = self.burn.account, float(moment.nominal_value)
        reach_s = max(_SLOPE_REACH_S, float(moment.std_dev))
        near = (np.abs(account.t_s - t_s) <= reach_s) & np.isfinite(account.water_g)
        near &= (account.t_s >= visit.pot_on_s) & (account.t_s < visit.end_s)
        if near.sum() < 3:
            return 0.0
        return -float(np.polyfit(account.t_s[near] - t_s, account.water_g[near], 1)[0])


def _latent_heat_j_g(at_c: UFloat | None) -> UFloat:
    """Return the protocols' latent heat, which is that of boiling water: colder water takes up to 5 % more to leave.

    What is between them and the heat that was really taken up is a half-width (JCGM 100:2008, 4.3.7).
    """
    if at_c is None:
        return to_affine_scalar(LATENT_HEAT_WBT_J_G)
    apart_j_g = abs(latent_heat_j_g(float(at_c.nominal_value)) - LATENT_HEAT_WBT_J_G)
    return LATENT_HEAT_WBT_J_G + uncertain(0.0, apart_j_g / 3.0**0.5, "latent_heat")


def _no_water(visit: Visit) -> str:
    """Say why the temperature of a visit's water is not known."""
    if visit.unread_s is None:
        return NO_PROBE
    begin_s, end_s = visit.unread_s
    return (
        f"the water's readings are missing from {begin_s:.0f} s to {end_s:.0f} s: "
        "have its probe read from pot on until the flame is out"
    )
