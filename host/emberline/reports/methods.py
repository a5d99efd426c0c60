"""How the numbers of a summary were made, with the names of the standards behind them."""

from collections.abc import Container
from dataclasses import dataclass
from typing import TYPE_CHECKING

from emberline.curves.events import EventKind
from emberline.reports.figures import PLUS_MINUS_MEANS, plain

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis


@dataclass(frozen=True, slots=True)
class _Method:
    text: str
    needs: frozenset[str]


_METHODS = (
    _Method(
        "Uncertainties are propagated linearly with their correlations (JCGM 100:2008, 5.1 and 5.2). A heating value "
        "shared by burns of one fuel does not average out over them.",
        frozenset(),
    ),
    _Method(
        "The flame ends where visible flame ends for good, told from the flame probe with its lag removed or from the "
        "release of volatiles; no standard defines that moment for stoves.",
        frozenset({"burn_time"}),
    ),
    _Method(
        "The mean burning rate is the mass that fuel and starter lost, as it is; the protocols' rate is of equivalent "
        "dry fuel, less drying and char (Water Boiling Test 4.2.3). The rate between 10 and 90 % of the loss and the "
        "five-point rule are those of fire laboratories (ISO 5660-1).",
        frozenset({"burning_rate_mean"}),
    ),
    _Method(
        "Firepower is the burning rate times the net heat of what leaves: volatiles while flaming, char afterwards "
        "(net calorific values of ISO 18125, moisture on the wet basis).",
        frozenset({"firepower_mean", "thermal_efficiency"}),
    ),
    _Method(
        "Efficiency is heat into the water, warming and evaporation, over fuel energy up to flameout, without and with "
        "credit for the char left (quantities of ISO 19867-1:2018, but not its test sequence: the burn has no tier).",
        frozenset({"thermal_efficiency", "thermal_efficiency_char_credit"}),
    ),
    _Method(
        "The corrected time to boil is scaled to a rise of 75 K; specific consumption is equivalent dry fuel per "
        "kilogram of effective water boiled (Water Boiling Test 4.2.3).",
        frozenset({"time_to_boil_corrected", "specific_fuel_consumption"}),
    ),
)


def method_notes(analysis: "Analysis") -> list[str]:
    """Return the notes that bear on this trial: those of the results that it has."""
    have: Container[str] = analysis.results.values.keys()
    notes = [f"{PLUS_MINUS_MEANS[0]}{PLUS_MINUS_MEANS[1:]}, throughout."]
    notes += [method.text for method in _METHODS if not method.needs or any(name in have for name in method.needs)]
    if any(event.kind in (EventKind.POT_ON, EventKind.BOIL) for event in analysis.events):
        notes.insert(
            1,
            f"Water boils here at {plain(analysis.boiling_point, '°C')} (IAPWS-IF97, saturation line; air pressure "
            "measured, given, or from the altitude by ISO 2533).",
        )
    return notes
