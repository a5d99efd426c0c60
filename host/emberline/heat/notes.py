"""What a reader of the results should know: assumptions, which of two ways was taken, what a number leaves out."""

from collections.abc import Iterator

import numpy as np
from uncertainties import UFloat, nominal_value

from emberline.curves.events import EventKind, Phase
from emberline.heat.burn import ASSUMED_AIR_C, Burn
from emberline.heat.firepower import ASSUMED_CHAR_YIELD
from emberline.heat.moments import attempt
from emberline.heat.result import QualityNote, Result
from emberline.heat.visits import Visits

_ENERGY = frozenset(
    {
        "firepower_mean", "firepower_gross_mean", "thermal_efficiency", "thermal_efficiency_char_credit",
        "pot_window_efficiency", "equivalent_dry_fuel", "effective_heat_of_combustion",
    }
)  # fmt: skip
_CHAR = _ENERGY - {"firepower_gross_mean", "thermal_efficiency"}
_DISAGREE = 3.0
LEAST_USUAL_YIELD = 0.1
"""Least dry char over dry fuel that is usual at flameout (James, Yuan and Boyette, Energies 9 (2016) 283)."""


def quality_notes(burn: Burn, pot: Visits, present: frozenset[str]) -> tuple[QualityNote, ...]:
    """Return the notes that belong to the results that are present, in a fixed order."""
    notes = [*_assumed(burn, present), *_char(burn, present), *_events(burn), *_pot(burn, pot, present)]
    return tuple(notes)


def _assumed(burn: Burn, present: frozenset[str]) -> Iterator[QualityNote]:
    fuel = burn.plan.fuel
    if present & _ENERGY:
        if fuel.moisture_wet is None:
            yield _assumption("moisture_wet", "fuel's moisture (wet basis)", burn.fuel.moisture_wet, "")
        if fuel.lhv_dry_j_g is None:
            yield _assumption("lhv_dry_j_g", "fuel's heating value", burn.fuel.lhv_dry, " J/g, dry and net,")
        if fuel.starter_g is not None and fuel.starter_lhv_j_g is None and nominal_value(fuel.starter_g) > 0:
            yield _assumption("starter_lhv_j_g", "starter's heating value", burn.fuel.starter_lhv, " J/g (ethanol)")
    if present & _CHAR and fuel.char_lhv_j_g is None:
        char_lhv = attempt(lambda: burn.char_lhv)
        if char_lhv is not None:
            source = "" if fuel.ash_fraction is None else " (from the fuel's ash)"
            yield _assumption("char_lhv_j_g", "char's heating value", char_lhv, f" J/g{source}")
    if present & {"firepower_mean", "pot_window_efficiency"} and attempt(lambda: burn.known_volatile_heat_j_g) is None:
        mean, u = ASSUMED_CHAR_YIELD
        yield QualityNote(
            "assumed_char_yield",
            f"This burn's char yield is not known: {mean:g} with a standard uncertainty of {u:g} is assumed for the "
            "firepower. Weigh the fuel before and the char after, and enter both in the plan.",
        )
    if "equivalent_dry_fuel" in present and burn.plan.place.ambient_c is None:
        mean, u = ASSUMED_AIR_C
        yield QualityNote(
            "assumed_ambient_c",
            f"The air temperature is not known: {mean:g} °C with a standard uncertainty of {u:g} K is assumed for "
            "drying the fuel.",
        )


def _assumption(key: str, what: str, value: UFloat, unit: str) -> QualityNote:
    return QualityNote(
        f"assumed_{key}",
        f"The plan gives no figure for the {what}: {written(value.nominal_value, 4)}{unit} with a standard uncertainty "
        f"of {written(value.std_dev, 2)} is assumed.",
    )


def written(value: float, digits: int) -> str:
    """Write a number with some significant digits, whole ones always in full: 18400, not 1.84e+04."""
    return f"{value:.0f}" if abs(value) >= 10.0 ** (digits - 1) else f"{value:.{digits}g}"


def _char(burn: Burn, present: frozenset[str]) -> Iterator[QualityNote]:
    balance = attempt(lambda: burn.left_by_balance_g)
    weighed = attempt(lambda: burn.left_by_weight_g)
    if "char_left" in present:
        left = burn.left_g
        way = "from the char weighed cold" if left is weighed else "from the fuel put in less what the load cell lost"
        choice = "" if balance is None or weighed is None else ", the better known of the two ways"
        yield QualityNote("char_source", f"The char left at flameout is taken {way}{choice}.")
        dry_g = attempt(lambda: burn.fuel.charge.dry_g)
        if dry_g is not None and attempt(lambda: burn.burnt) is None:
            yield QualityNote(
                "unburnt_suspected",
                f"What was left at flameout is {100 * (left / dry_g).nominal_value:.0f} % of the dry fuel: part of it "
                "is unburnt wood. Weigh that cold and enter fuel.unburnt_g.",
            )
        share = None if dry_g is None else nominal_value(left / dry_g)
        if share is not None and share < LEAST_USUAL_YIELD:
            yield QualityNote(
                "char_yield_low",
                f"What was left at flameout is only {100 * share:.0f} % of the dry fuel; flames usually end at "
                f"{100 * LEAST_USUAL_YIELD:.0f} to 30 %. Check fuel.mass_g, the refuels and the moment of flameout.",
            )
        if _leans_on(left, "char_yield"):
            yield QualityNote(
                "char_assumed",
                "The pot was never lifted, and its water was told from the fuel by what such fuel usually leaves as "
                "char: the char left at flameout is in part that assumption. Weigh the cold char.",
            )
    if balance is not None and weighed is not None:
        gap = balance - weighed
        if abs(gap.nominal_value) > _DISAGREE * gap.std_dev:
            yield QualityNote(
                "char_disagrees",
                f"The char weighed cold comes to {weighed.nominal_value:.1f} g at flameout, the load cell leaves "
                f"{balance.nominal_value:.1f} g: more apart than their uncertainties allow. Check both weights; "
                "unburnt wood goes into fuel.unburnt_g.",
            )
    if balance is not None and burn.left_g is balance and not nominal_value(balance) > 0:
        yield QualityNote(
            "char_none_left",
            "The load cell lost all that was put in, within its uncertainty: the energy sums take no char as left.",
        )
    if Phase.CHAR in burn.account.phase and np.isfinite(burn.account.burning_rate_g_min).any():
        yield QualityNote(
            "char_heat_upper",
            "Glowing char burns partly to carbon monoxide: the firepower after flameout is an upper value.",
        )


def _events(burn: Burn) -> Iterator[QualityNote]:
    for kind in (EventKind.LIT, EventKind.BOIL, EventKind.FLAMEOUT):
        for event in burn.moments.of_kind(kind):
            if not event.confirmed:
                text = f"The event '{kind.value}' is not confirmed: {event.evidence}"
                yield QualityNote(f"{kind.value}_unconfirmed", text)
    if attempt(lambda: burn.moments.lit) is None and attempt(lambda: burn.moments.time_to_boil_s) is not None:
        yield QualityNote(
            "lit_unknown", "No lighting was found: the time to boil counts from the moment the pot was set down."
        )
    refuels = len(burn.moments.of_kind(EventKind.REFUEL))
    if refuels:
        times = "once" if refuels == 1 else f"{refuels} times"
        yield QualityNote(
            "refuelled", f"Fuel was added {times}: means run over all fills, so compare with burns refuelled alike."
        )


def _leans_on(value: UFloat, tag: str) -> bool:
    """Tell whether an input makes up more than a tenth of a value's variance."""
    parts = Result(value, "").budget
    return bool(parts.get(tag, 0.0) ** 2 > 0.1 * value.std_dev**2)


def _pot(burn: Burn, pot: Visits, present: frozenset[str]) -> Iterator[QualityNote]:
    if "water_evaporated" in present and _leans_on(pot.total_evaporated_g, "pot_account_doubtful"):
        yield QualityNote(
            "water_accounts_disagree",
            "The accounts of the water, by weight, by heat and by fuel, differ by more than their uncertainties allow; "
            "the difference is in the uncertainty. Check what was laid on the pot, the fuel's weights and the refuels.",
        )
    if not present & {"thermal_efficiency", "thermal_efficiency_char_credit", "pot_window_efficiency"}:
        return
    text = "The heat that warmed the pot itself is left out of the efficiencies, as the protocols have it"
    planned, first = burn.plan.pot, pot.heated[0]
    known = planned is not None and planned.heat_capacity_j_k is not None
    if known and planned is not None and first.water_start_c is not None and first.water_heat_end_c is not None:
        warmed = planned.heat_capacity_j_k * (first.water_heat_end_c - first.water_start_c)
        share = 100.0 * warmed.nominal_value / pot.heat_j(first).nominal_value
        text += f" (about {warmed.nominal_value / 1000.0:.0f} kJ on the first visit, {share:.0f} % of the water's heat)"
    yield QualityNote("pot_heat_left_out", f"{text}.")
