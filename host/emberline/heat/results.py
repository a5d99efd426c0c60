"""The results of a burn: every name either with a number or absent with a plain reason."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, nominal_value

from emberline.bench.plan import Plan
from emberline.curves.events import Event, EventKind
from emberline.heat import rates
from emberline.heat.account import Account, Visit
from emberline.heat.burn import Burn
from emberline.heat.combustion import efficiency
from emberline.heat.errors import AbsentError
from emberline.heat.moments import attempt
from emberline.heat.notes import quality_notes
from emberline.heat.phases import PhaseResult, phase_results
from emberline.heat.result import QualityNote, Result
from emberline.heat.turndown import turndown
from emberline.heat.visits import Visits
from emberline.heat.water import corrected_for_rise


@dataclass(frozen=True, slots=True)
class VisitResult:
    """What came out of one visit of the pot.

    Attributes:
        pot_on_s: When the pot stood, seconds from the first sample.
        boil_s: When its water boiled; None where it did not.
        pot_off_s: When it was lifted; None where it never was.
        water_evaporated: Water lost from pot on to pot off or the end of the record; None where it cannot be told.
        pot_window_efficiency: Heat into the water over the heat released meanwhile; None likewise.
        known_by: How the water is known.
    """

    pot_on_s: float
    boil_s: float | None
    pot_off_s: float | None
    water_evaporated: Result | None
    pot_window_efficiency: Result | None
    known_by: str


@dataclass(frozen=True, slots=True, eq=False)
class Results:
    """All that was worked out about a burn.

    Attributes:
        values: Results by name, in the order of `RESULT_NAMES`.
        absent: Names of the other results, each with the reason and what a person can do.
        firepower_w: (n,) heat released on the grid; NaN before it is lit and where the rate is not known.
        visits: One for each visit of the pot, in order.
        phases: Kindling, flaming and char, those that there were.
        quality: What a reader of the numbers should know.
    """

    values: dict[str, Result]
    absent: dict[str, str]
    firepower_w: NDArray[np.float64]
    visits: tuple[VisitResult, ...]
    phases: tuple[PhaseResult, ...]
    quality: tuple[QualityNote, ...]


def compute_results(account: Account, events: tuple[Event, ...], plan: Plan, boiling_point: UFloat) -> Results:
    """Work out every result of a burn.

    Args:
        account: What the ledger handed over.
        events: The events of the final pass, a person's notes among them.
        plan: What a person said about the trial.
        boiling_point: Local boiling point of water, degrees Celsius.
    """
    burn = Burn(account, events, plan, boiling_point)
    pot = Visits(burn)
    values: dict[str, Result] = {}
    absent: dict[str, str] = {}
    for name, (unit, figure) in _FIGURES.items():
        try:
            values[name] = _result(figure(burn, pot), unit)
        except AbsentError as exc:
            absent[name] = str(exc)
    visits = tuple(_visit_result(pot, visit) for visit in pot.all)
    firepower_w = burn.firepower_w if account.has_mass else np.full(len(account.t_s), np.nan)
    return Results(
        values, absent, firepower_w, visits, phase_results(burn), quality_notes(burn, pot, frozenset(values))
    )


def _result(value: UFloat, unit: str) -> Result:
    if not (math.isfinite(value.nominal_value) and math.isfinite(value.std_dev)):
        raise AbsentError("the inputs give no finite number: check the plan and the curves")
    return Result(value, unit)


def _visit_result(pot: Visits, visit: Visit) -> VisitResult:
    evaporated = visit.evaporated_g
    share = attempt(lambda: _result(pot.efficiency(visit), ""))
    return VisitResult(
        visit.pot_on_s,
        visit.boil_s,
        visit.pot_off_s,
        None if evaporated is None else Result(evaporated, "g"),
        share,
        visit.known_by,
    )


def _time_to_boil_s(burn: Burn, pot: Visits) -> UFloat:
    pot.expect_boil()
    if not burn.account.has_mass and not pot.all and not burn.moments.of_kind(EventKind.POT_ON):
        raise AbsentError(
            "the bench has no load cell, and nobody said when the pot was set down: enter that; where it stood there "
            "before the fire was lit, the time to boil is that from lit"
        )
    return burn.moments.time_to_boil_s


def _time_to_boil_from_lit_s(burn: Burn, pot: Visits) -> UFloat:
    pot.expect_boil()
    return burn.moments.time_to_boil_from_lit_s


def _time_to_boil_corrected_s(burn: Burn, pot: Visits) -> UFloat:
    time_s = _time_to_boil_s(burn, pot)
    boiled = next((visit for visit in pot.all if visit.boil_s is not None), None)
    if boiled is None or boiled.water_start_c is None:
        raise AbsentError(
            "the water's temperature at the start is not known: put the probe in before the pot is set on"
        )
    end_c = burn.boiling_point if boiled.water_boil_c is None else boiled.water_boil_c
    return corrected_for_rise(time_s, boiled.water_start_c, end_c)


def _char_left_g(burn: Burn) -> UFloat:
    left = burn.left_g
    if not nominal_value(left) > 0:
        raise AbsentError("what was left at flameout cannot be told from nothing: weigh the char cold")
    return left


def _char_yield(burn: Burn) -> UFloat:
    char_g = _char_left_g(burn) - burn.unsorted_g
    return char_g / burn.burnt.less(burn.unsorted_g).dry_g


def _firepower_mean_w(burn: Burn) -> UFloat:
    burn_time_s = burn.moments.burn_time_s
    net_j = attempt(lambda: burn.net_energy_j)
    if net_j is None:
        # The balance does not close; the loss between its ends may still be sound.
        _ = burn.loss_g
        net_j = burn.released_j(burn.moments.lit, burn.moments.flameout)
    return net_j / burn_time_s


def _specific_fuel_consumption_g_kg(burn: Burn, pot: Visits) -> UFloat:
    return 1000.0 * burn.equivalent_dry_fuel_g / pot.total_effective_water_g


_FIGURES: dict[str, tuple[str, Callable[[Burn, Visits], UFloat]]] = {
    "time_to_boil": ("s", _time_to_boil_s),
    "time_to_boil_from_lit": ("s", _time_to_boil_from_lit_s),
    "time_to_boil_corrected": ("s", _time_to_boil_corrected_s),
    "burn_time": ("s", lambda burn, pot: burn.moments.burn_time_s),
    "fuel_burned": ("g", lambda burn, pot: burn.burnt_g),
    "fuel_mass_lost": ("g", lambda burn, pot: burn.loss_g - burn.fuel.starter_g),
    "char_left": ("g", lambda burn, pot: _char_left_g(burn)),
    "char_yield": ("", lambda burn, pot: _char_yield(burn)),
    "water_evaporated": ("g", lambda burn, pot: pot.total_evaporated_g),
    "burning_rate_mean": ("g/min", lambda burn, pot: rates.mean_rate(burn)),
    "burning_rate_peak": ("g/min", lambda burn, pot: rates.peak_rate(burn)),
    "burning_rate_peak_five_point": ("g/min", lambda burn, pot: rates.peak_rate_five_point(burn)),
    "burning_rate_10_90": ("g/min", lambda burn, pot: rates.rate_10_90(burn)),
    "burning_rate_equivalent_dry": ("g/min", lambda burn, pot: rates.equivalent_dry_rate(burn)),
    "equivalent_dry_fuel": ("g", lambda burn, pot: burn.equivalent_dry_fuel_g),
    "effective_heat_of_combustion": ("J/g", lambda burn, pot: burn.known_volatile_heat_j_g),
    "firepower_mean": ("W", lambda burn, pot: _firepower_mean_w(burn)),
    "firepower_gross_mean": ("W", lambda burn, pot: burn.gross_energy_j / burn.moments.burn_time_s),
    "cooking_power": ("W", lambda burn, pot: pot.total_heat_j / pot.total_window_s),
    "thermal_efficiency": ("", lambda burn, pot: efficiency(pot.total_heat_j, burn.gross_energy_j)),
    "thermal_efficiency_char_credit": ("", lambda burn, pot: efficiency(pot.total_heat_j, burn.net_energy_j)),
    "pot_window_efficiency": ("", lambda burn, pot: efficiency(pot.total_heat_j, pot.total_released_j)),
    "specific_fuel_consumption": ("g/kg", _specific_fuel_consumption_g_kg),
    "turndown": ("1", lambda burn, pot: turndown(burn)),
}

RESULT_NAMES = tuple(_FIGURES)
"""Names of all results, in the order in which a summary gives them."""
RESULT_UNITS = {name: unit for name, (unit, _) in _FIGURES.items()}
"""Unit of each result by its name; empty for a fraction, `1` for a ratio."""
