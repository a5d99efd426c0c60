"""One burn as the results see it: its moments, its fuel, its char and the heat that it released.

Each fact is worked out once, so that results share their inputs and keep their correlations; a fact that cannot be
known raises `AbsentError` with the reason, which becomes the reason of every result that needs it.
"""

from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, nominal_value, std_dev
from uncertainties.core import to_affine_scalar

from emberline.bench.plan import Plan
from emberline.curves.events import Event, Phase
from emberline.heat.account import Account
from emberline.heat.combustion import (
    LARGEST_CHAR_YIELD,
    Charge,
    equivalent_dry_fuel_g,
    heat_per_gram_lost_j_g,
    net_energy_j,
)
from emberline.heat.errors import AbsentError
from emberline.heat.firepower import (
    ASSUMED_CHAR_YIELD,
    HEAT_BEND,
    HEAT_RISE,
    char_lhv_j_g,
    usual_volatile_heat_j_g,
)
from emberline.heat.fuel_in import FuelIn, assumed
from emberline.heat.moments import Moments, attempt, uncertain
from emberline.heat.uncharred import IN_PIECES, Uncharred, uncharred

ASSUMED_AIR_C = (20.0, 6.0)
"""Air temperature where nobody knows it, with standard uncertainty; 6 K is 0.3 % of the heat of drying."""
UNBURNT = 0.005
"""Standard uncertainty, about zero, of the wood left unburnt under the grate and along the wall, as a share of what was
put in, where nobody looked for it: up to a hundredth or two (common practice, no source)."""
BEFORE_LIT_S = 120.0
"""How long before `lit` a loss counts as burnt: a match's first flames. What the load cell showed earlier is drift."""
_SLOPE_REACH_S = 10.0
_LEAST_PART = 1e-3


class Burn:
    """The facts of one burn.

    Args:
        account: What the ledger handed over.
        events: The events of the final pass.
        plan: What a person said.
        boiling_point: Local boiling point of water, degrees Celsius.
    """

    def __init__(self, account: Account, events: tuple[Event, ...], plan: Plan, boiling_point: UFloat) -> None:
        self.account = account
        self.plan = plan
        self.boiling_point = boiling_point
        self.moments = Moments(events)
        self.fuel = FuelIn(plan, account.fuel_in_g)
        self._losses: dict[tuple[float, float], UFloat] = {}

    # Mass lost.

    def lost_g(self, start: UFloat, end: UFloat) -> UFloat:
        """Mass lost by fuel, char and starter between two uncertain moments."""
        self._expect_load_cell()
        between = (float(start.nominal_value), float(end.nominal_value))
        if between not in self._losses:
            try:
                self._losses[between] = self.account.fuel_lost(*between)
            except ValueError as exc:
                raise AbsentError(f"the load cell's record does not reach that far: {exc}") from exc
        lost = self._losses[between]
        at_end, at_start = self._rate_g_s(end), self._rate_g_s(start)
        return lost + at_end * (end - end.nominal_value) - at_start * (start - start.nominal_value)

    def water_lost_g(self, start: UFloat, end: UFloat) -> UFloat:
        """Water that left the pot between two uncertain moments."""
        between = (float(start.nominal_value), float(end.nominal_value))
        lost = self.account.water_lost(*between)
        if lost is None:
            raise AbsentError("no pot stood on the stove, or what evaporated is not known")
        return lost

    @cached_property
    def loss_g(self) -> UFloat:
        """Mass lost from lit to flameout, starter included."""
        self._expect_load_cell()
        _ = self.moments.burn_time_s
        loss = self.lost_g(self.moments.lit, self.moments.flameout)
        if not nominal_value(loss) > 0:
            raise AbsentError("the load cell shows no loss of mass between lighting and flameout")
        return loss

    def _expect_load_cell(self) -> None:
        if not self.account.has_mass:
            raise AbsentError("the bench has no load cell under the stove: the fuel's mass is not known in time")

    @property
    def _record_s(self) -> tuple[float, float]:
        """First and last second of the account."""
        if not len(self.account.t_s):
            raise AbsentError("the record is empty")
        return float(self.account.t_s[0]), float(self.account.t_s[-1])

    def _rate_g_s(self, moment: UFloat) -> float:
        """Mean rate over the stretch in which an uncertain moment may lie."""
        reach_s = max(_SLOPE_REACH_S, float(moment.std_dev))
        near = np.abs(self.account.t_s - moment.nominal_value) <= reach_s
        rates = self.account.burning_rate_g_min[near]
        rates = rates[np.isfinite(rates)]
        return float(rates.mean()) / 60.0 if len(rates) else 0.0

    # What was left.

    @cached_property
    def left_by_balance_g(self) -> UFloat:
        """Char left at flameout: what was put in less what the load cell lost; by noise a little below zero at most."""
        self._expect_load_cell()
        _ = self.moments.burn_time_s
        begin_s = max(float(self.moments.lit.nominal_value) - BEFORE_LIT_S, self._record_s[0])
        before = self.lost_g(to_affine_scalar(begin_s), self.moments.lit)
        # What the load cell gained before was no fuel that came back.
        lost = self.lost_g(self.moments.lit, self.moments.flameout) + max(
            before, to_affine_scalar(0.0), key=nominal_value
        )
        left = self.fuel.charge.moist_g + self.fuel.starter_g - lost - self._unburnt_g
        if left.nominal_value < -2.0 * left.std_dev:
            raise AbsentError(
                "the load cell lost more than the fuel put in: check fuel.mass_g, the refuels and the load cell's span"
            )
        return left

    @cached_property
    def left_by_weight_g(self) -> UFloat:
        """Char left at flameout as what was weighed cold, and what burnt between flameout and smothering."""
        weighed, snuffed = self.plan.fuel.char_left_g, self.plan.fuel.char_snuffed_s
        if weighed is None:
            raise AbsentError("nobody weighed the char: let it go cold and enter fuel.char_left_g")
        if snuffed is not None and not nominal_value(snuffed) > 0:
            return weighed
        if snuffed is not None:
            return weighed + self.lost_g(self.moments.flameout, self.moments.flameout + snuffed)
        if not self.account.has_mass:
            return weighed
        # Nobody said when it was smothered: any moment from flameout to the end of the record (JCGM 100:2008, 4.3.7).
        burnt_g = float(self.lost_g(self.moments.flameout, to_affine_scalar(self._record_s[1])).nominal_value)
        return weighed + burnt_g / 2.0 + uncertain(0.0, abs(burnt_g) / 12.0**0.5, "fuel.char_snuffed_s")

    @cached_property
    def left_g(self) -> UFloat:
        """Char left at flameout, by the better known of the two ways."""
        known = [
            way for way in (attempt(lambda: self.left_by_balance_g), attempt(lambda: self.left_by_weight_g)) if way
        ]
        if not known:
            return self.left_by_balance_g
        return min(known, key=std_dev)

    @cached_property
    def char_g(self) -> UFloat:
        """Char left at flameout as the energy sums take it: zero, still uncertain, where noise made it negative."""
        _ = self.burnt
        left = self.left_g
        return left - min(left.nominal_value, 0.0)

    @property
    def _unburnt_g(self) -> UFloat:
        given = self.plan.fuel.unburnt_g
        return to_affine_scalar(0.0) if given is None else given

    @cached_property
    def burnt(self) -> Charge:
        """Fuel put in less what was found unburnt."""
        _ = self.moments.flameout
        burnt = self.fuel.charge.less(self._unburnt_g)
        left = attempt(lambda: self.left_g)
        if left is not None and nominal_value(left) > LARGEST_CHAR_YIELD * nominal_value(burnt.dry_g):
            raise AbsentError(
                f"more than {100 * LARGEST_CHAR_YIELD:.0f} % of the dry fuel was left at flameout, which no char "
                "reaches: part of it is unburnt wood; weigh that cold and enter fuel.unburnt_g"
            )
        return burnt

    @property
    def burnt_g(self) -> UFloat:
        """Moist mass of the fuel burnt; less sure where nobody looked for unburnt wood.

        For heat, such wood is part of what is left at flameout, and unsure there.
        """
        return self.burnt.moist_g - self.unsorted_g

    @cached_property
    def unsorted_g(self) -> UFloat:
        """Unburnt wood, moist, among what was left; none where somebody sorted it out."""
        if self.plan.fuel.unburnt_g is not None:
            return to_affine_scalar(0.0)
        raw_g, u_raw_g = 0.0, 0.0
        if self._uncharred is not None:
            per_share = float((self.left_g / (1.0 - self.burnt.moisture_wet)).nominal_value)
            raw_g, u_raw_g = self._uncharred.raw * per_share, self._uncharred.u_raw * per_share
        u_g = float(np.hypot(UNBURNT * float(self.burnt.moist_g.nominal_value), u_raw_g))
        return uncertain(raw_g, u_g, "fuel.unburnt_g")

    @cached_property
    def _uncharred(self) -> Uncharred | None:
        """What of what was left is wood; None where nothing is known of that, or a person calls it char."""
        left_g = attempt(lambda: self.left_g)
        if left_g is None or self.plan.fuel.char_left_g is not None:
            return None
        left = left_g / self.burnt.dry_g
        sorted_out = self.plan.fuel.unburnt_g is not None
        return uncharred(max(float(left.nominal_value), 0.0), float(left.std_dev), sorted_out=sorted_out)

    # Heat.

    @cached_property
    def char_lhv(self) -> UFloat:
        """Net calorific value of the char, J/g: the plan's, or from the ash, or assumed."""
        # Only the ash needs to know what was left, which may need the char's heating value itself.
        left = attempt(lambda: self.char_g) if self.plan.fuel.ash_fraction is not None else None
        char_yield = assumed(ASSUMED_CHAR_YIELD, "char_yield") if left is None else left / self.burnt.dry_g
        return char_lhv_j_g(self.plan, char_yield)

    @cached_property
    def equivalent_dry_fuel_g(self) -> UFloat:
        """Equivalent dry fuel of the Water Boiling Test 4.2.3."""
        given = self.plan.place.ambient_c
        air_c = assumed(ASSUMED_AIR_C, "place.ambient_c") if given is None else given
        return equivalent_dry_fuel_g(
            self.burnt.moist_g,
            self.burnt.moisture_wet,
            self.char_g,
            lhv_dry_j_g=self.fuel.lhv_dry,
            char_lhv_j_g=self.char_lhv,
            air_c=air_c,
            boiling_c=self.boiling_point,
        )

    @cached_property
    def gross_energy_j(self) -> UFloat:
        """Net calorific energy of the fuel burnt and the starter, char not taken off."""
        burnt = self.burnt.less(self.unsorted_g)
        return burnt.energy_j(self.fuel.lhv_dry) + self.fuel.starter_g * self.fuel.starter_lhv

    @cached_property
    def char_energy_j(self) -> UFloat:
        """Energy that the char left keeps."""
        return self.char_g * self.left_lhv

    @cached_property
    def left_lhv(self) -> UFloat:
        """Net calorific value of what is left at flameout, J/g: that of char, but for what has not charred yet.

        What a person weighed as char counts as char, as the protocols take it, though less sure.
        """
        known = self._uncharred
        wood, u_wood = (0.0, IN_PIECES) if known is None else (known.wood, known.u_wood)
        return self.char_lhv + uncertain(wood, u_wood, "char_unfinished") * (self.fuel.lhv_dry - self.char_lhv)

    @cached_property
    def net_energy_j(self) -> UFloat:
        """Heat released by flameout: fuel less char, and starter."""
        return (
            net_energy_j(self.burnt.energy_j(self.fuel.lhv_dry), self.char_energy_j)
            + self.fuel.starter_g * self.fuel.starter_lhv
        )

    @cached_property
    def known_volatile_heat_j_g(self) -> UFloat:
        """Heat per gram that leaves while flaming, from this burn's own fuel and char."""
        return heat_per_gram_lost_j_g(self.burnt, self.char_g, self.fuel.lhv_dry, self.left_lhv)

    @cached_property
    def volatile_heat_j_g(self) -> UFloat:
        """Heat per gram that leaves while flaming; with an assumed char yield where this burn's is not known."""
        known = attempt(lambda: self.known_volatile_heat_j_g)
        if known is not None:
            return known
        return usual_volatile_heat_j_g(self.fuel, self.char_lhv)

    def released_j(self, start: UFloat, end: UFloat) -> UFloat:
        """Heat released between two moments before or at flameout. The starter burns first, ahead of the fuel.

        The heat per gram is the mean of the burn; how it goes along the burn is not known, and counts for a part of it.
        """
        starter_g = self.starter_lost_g(start, end)
        heat_j = self.volatile_heat_j_g * (self.lost_g(start, end) - starter_g)
        rise, bend = self._place(start, end)
        return heat_j * (1.0 + rise * self._heat_rise + bend * self._heat_bend) + self.fuel.starter_lhv * starter_g

    @cached_property
    def _heat_rise(self) -> UFloat:
        return uncertain(0.0, HEAT_RISE, "volatile_heat_course")

    @cached_property
    def _heat_bend(self) -> UFloat:
        return uncertain(0.0, HEAT_BEND, "volatile_heat_course")

    def _place(self, start: UFloat, end: UFloat) -> tuple[float, float]:
        """Return the means of the first two Legendre polynomials over a part of the loss: zero for the whole burn.

        A part of a burn of which nobody saw the end counts as its first half.
        """
        whole = attempt(lambda: self.loss_g - self.starter_lost_g(self.moments.lit, self.moments.flameout))
        if whole is None or not nominal_value(whole) > 0.0:
            return -0.5, 0.0
        lit = self.moments.lit
        lost = [
            nominal_value(self.lost_g(lit, at) - self.starter_lost_g(lit, at)) if nominal_value(at - lit) > 0 else 0.0
            for at in (start, end)
        ]
        x = np.clip(np.array(lost) / nominal_value(whole), 0.0, 1.0)
        if x[1] - x[0] < _LEAST_PART:
            x = np.clip(x.mean() + 0.5 * np.array([-_LEAST_PART, _LEAST_PART]), 0.0, 1.0)
        rise, bend = (np.diff(integral) / np.diff(x) for integral in (x * x - x, 2.0 * x**3 - 3.0 * x**2 + x))
        return float(rise[0]), float(bend[0])

    def starter_lost_g(self, start: UFloat, end: UFloat) -> UFloat:
        """Starter burnt between two moments; it burns first, ahead of the fuel."""
        return self._starter_burnt_g(end) - self._starter_burnt_g(start)

    def _starter_burnt_g(self, moment: UFloat) -> UFloat:
        lit = attempt(lambda: self.moments.lit)
        if lit is None:
            return self.fuel.starter_g
        lost = self.lost_g(lit, moment) if nominal_value(moment - lit) > 0 else to_affine_scalar(0.0)
        return min(lost, self.fuel.starter_g, key=nominal_value)

    @cached_property
    def firepower_w(self) -> NDArray[np.float64]:
        """Heat released by the fire on the grid, W; NaN before it is lit and where the rate is not known.

        Glowing char burns partly to carbon monoxide, so the values after flameout are upper ones.
        """
        phases = self.account.phase
        flaming = np.array([phase in (Phase.KINDLING, Phase.FLAMING) for phase in phases], dtype=bool)
        char = np.array([phase is Phase.CHAR for phase in phases], dtype=bool)
        rate_g_s = self.account.burning_rate_g_min / 60.0
        lost_g = np.where(flaming & np.isfinite(rate_g_s), rate_g_s, 0.0)
        before_g = np.cumsum(lost_g) - lost_g
        starter_left_g = self.fuel.starter_g.nominal_value - before_g
        share = np.clip(starter_left_g / np.where(lost_g > 0.0, lost_g, np.inf), 0.0, 1.0)
        flame_heat = share * self.fuel.starter_lhv.nominal_value + (1.0 - share) * self.volatile_heat_j_g.nominal_value
        heat = np.where(flaming, flame_heat, np.where(char, self.char_lhv.nominal_value, np.nan))
        return np.asarray(rate_g_s * heat, dtype=np.float64)
