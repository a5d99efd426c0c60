"""A synthetic burn whose sums are known exactly: for tests of the results, the documents and the pages.

300 g of fuel with 5 g of starter burn from 60 s to 960 s at a trapezoid rate; 45 g of char are left at flameout and
glow away slowly. A pot with 500 g of water stands from 120 s to 700 s and boils at 480 s.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.air import Place
from emberline.bench.plan import FuelPlan, Plan, PotPlan, RefuelPlan, VisitPlan
from emberline.curves.events import Event, EventKind, Phase
from emberline.heat.account import Account, Visit

SECONDS = 1400
LIT_S, POT_ON_S, BOIL_S, POT_OFF_S, FLAMEOUT_S = 60.0, 120.0, 480.0, 700.0, 960.0
FUEL_G, STARTER_G, CHAR_G = 300.0, 5.0, 45.0
WATER_G, EVAPORATED_G = 500.0, 60.0
BOILING_POINT = ufloat(99.1, 0.4, tag="pressure")


def uncertain(value: float, u: float, tag: str) -> UFloat:
    """Return a tagged variable."""
    return ufloat(value, u, tag=tag)


def plan() -> Plan:
    """Return a plan that answers every question."""
    return Plan(
        label="synthetic",
        factors={"fuel": "chips"},
        fuel=FuelPlan(
            mass_g=uncertain(FUEL_G, 0.5, "fuel.mass_g"),
            moisture_wet=uncertain(0.11, 0.005, "fuel.moisture_wet"),
            lhv_dry_j_g=uncertain(18_400.0, 300.0, "fuel.lhv_dry_j_g"),
            char_lhv_j_g=uncertain(29_500.0, 1500.0, "fuel.char_lhv_j_g"),
            starter_g=uncertain(STARTER_G, 0.2, "fuel.starter_g"),
            starter_lhv_j_g=uncertain(26_800.0, 500.0, "fuel.starter_lhv_j_g"),
        ),
        pot=PotPlan(
            tare_g=uncertain(412.0, 0.5, "pot.tare_g"),
            heat_capacity_j_k=uncertain(200.0, 10.0, "pot.heat_capacity_j_k"),
            every=VisitPlan(water_g=uncertain(WATER_G, 0.5, "pot.water_g")),
        ),
        place=Place(ambient_c=uncertain(18.0, 0.5, "place.ambient_c")),
    )


def events() -> tuple[Event, ...]:
    """Return the events of the burn."""
    return (
        Event(EventKind.LIT, LIT_S, 2.0, "mass falls"),
        Event(EventKind.POT_ON, POT_ON_S, 0.5, "step up", size_g=uncertain(912.0, 0.3, "step")),
        Event(EventKind.BOIL, BOIL_S, 1.5, "plateau at 99.2 °C", announced_t_s=495.0),
        Event(EventKind.POT_OFF, POT_OFF_S, 0.5, "step down", size_g=uncertain(-852.0, 0.3, "step")),
        Event(EventKind.FLAMEOUT, FLAMEOUT_S, 6.0, "rate falls to 12 %", announced_t_s=985.0),
    )


def visit() -> Visit:
    """Return the pot's one visit; the probe's bias is shared by its temperatures."""
    bias = uncertain(0.0, 0.6, "probe_bias")
    return Visit(
        pot_on_s=POT_ON_S,
        pot_off_s=POT_OFF_S,
        end_s=POT_OFF_S,
        boil_s=BOIL_S,
        water_start_g=uncertain(WATER_G, 0.5, "pot.water_g"),
        water_start_c=18.0 + bias + uncertain(0.0, 0.05, "curve"),
        water_boil_c=99.2 + bias,
        water_heat_end_c=99.2 + bias,
        evaporated_g=uncertain(EVAPORATED_G, 1.2, "water_account"),
        evaporated_flaming_g=uncertain(EVAPORATED_G, 1.2, "water_account"),
        known_by="the pot's steps up and down",
    )


@dataclass
class SyntheticBurn:
    """The burn as numbers that a test may change before it makes the account.

    Attributes:
        fuel_in_g: Fuel put in as the ledger knows it; None where unknown.
        lost_g: Mass lost from lit to flameout.
        has_mass: Whether the bench has a load cell.
        visits: The pot's visits.
        u_lost: Relative standard uncertainty of every loss.
    """

    fuel_in_g: UFloat | None = None
    lost_g: float = FUEL_G + STARTER_G - CHAR_G
    has_mass: bool = True
    visits: tuple[Visit, ...] = field(default_factory=lambda: (visit(),))
    u_lost: float = 0.002

    def rate_g_s(self) -> NDArray[np.float64]:
        """Return the true rate of loss: a trapezoid while flaming, then a glow."""
        middle = np.arange(SECONDS) + 0.5
        shape = np.interp(middle, [LIT_S, LIT_S + 120, FLAMEOUT_S - 60, FLAMEOUT_S], [0.0, 1.0, 1.0, 0.0], 0.0, 0.0)
        rate = shape * self.lost_g / shape.sum()
        return np.where(middle > FLAMEOUT_S, 0.01, rate)

    def account(self) -> Account:
        """Return the account of the burn."""
        rate = self.rate_g_s()
        t_s = np.arange(SECONDS, dtype=np.float64)
        lost = np.concatenate(([0.0], np.cumsum(rate)))
        span = uncertain(1.0, self.u_lost, "load_cell_span")
        top = np.arange(SECONDS + 1, dtype=np.float64)

        def fuel_lost(start_s: float, end_s: float) -> UFloat:
            if not (0.0 <= start_s <= SECONDS and 0.0 <= end_s <= SECONDS):
                raise ValueError(f"the record ends at {SECONDS} s")
            return span * float(np.interp(end_s, top, lost) - np.interp(start_s, top, lost))

        bounds = [(LIT_S, Phase.WAITING), (LIT_S + 90, Phase.KINDLING), (FLAMEOUT_S, Phase.FLAMING)]
        phase = tuple(next((p for end, p in bounds if t < end), Phase.CHAR) for t in t_s)
        known = self.has_mass
        first_g = 0.0 if self.fuel_in_g is None else self.fuel_in_g.nominal_value + STARTER_G
        nothing = np.full(SECONDS, np.nan)
        water = np.where(
            (t_s >= POT_ON_S) & (t_s < POT_OFF_S),
            WATER_G - EVAPORATED_G * np.clip((t_s - 300.0) / 400.0, 0.0, 1.0),
            np.nan,
        )
        return Account(
            t_s=t_s,
            fuel_g=first_g - lost[:-1] if known else nothing,
            u_fuel_g=np.full(SECONDS, 0.3),
            water_g=water,
            burning_rate_g_min=60.0 * rate if known else nothing,
            u_burning_rate_g_min=np.full(SECONDS, 0.15) if known else nothing,
            phase=phase,
            visits=self.visits,
            fuel_in_g=self.fuel_in_g,
            fuel_lost=fuel_lost,
            has_mass=known,
        )


def usual(given: Plan | None = None) -> tuple[Account, tuple[Event, ...], Plan, UFloat]:
    """Return account, events, plan and boiling point of the burn with everything known."""
    chosen = plan() if given is None else given
    return SyntheticBurn(fuel_in_g=fuel_in(chosen)).account(), events(), chosen, BOILING_POINT


def fuel_in(chosen: Plan) -> UFloat | None:
    """Return the fuel put in as a ledger sums it from a plan."""
    parts = [chosen.fuel.mass_g, chosen.fuel.kindling_g, *(refuel.mass_g for refuel in chosen.refuels)]
    known = [part for part in parts if part is not None]
    return None if chosen.fuel.mass_g is None else sum(known[1:], known[0])


def with_fuel(chosen: Plan, **changes: UFloat | str | None) -> Plan:
    """Return a plan with some of its fuel's facts changed."""
    return replace(chosen, fuel=replace(chosen.fuel, **changes))


def with_refuels(chosen: Plan, *refuels: RefuelPlan) -> Plan:
    """Return a plan with weighed additions."""
    return replace(chosen, refuels=refuels)
