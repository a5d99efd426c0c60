"""What truly happened: events, masses and energies of a course, for judging what a host makes of the readings."""

import json
from dataclasses import asdict, dataclass, fields

import numpy as np
from numpy.typing import NDArray

from emberline_sim.course import STEP_S, Course
from emberline_sim.forms import FORMS
from emberline_sim.handling import hand_weight_g
from emberline_sim.scenario import Scenario


@dataclass(frozen=True, slots=True)
class TrueEvent:
    """One true event.

    Attributes:
        kind: `lit`, `pot_on`, `boil`, `pot_off`, `refuel`, `flameout` or `step`.
        t_s: When: a pot when its weight is fully on, or off; a refuel in its middle; a boil when the bulk of the water
            is within 0.2 K of the local boiling point; flameout at the end of sustained visible flame.
        size_g: Change of load, positive for what was added; None where there is none.
        note: In words.

    """

    kind: str
    t_s: float
    size_g: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class TrueStay:
    """One visit of the pot.

    Attributes:
        pot_on_s: Start.
        boil_s: First boil of the visit, if any.
        pot_off_s: Lifted, if it was.
        water_start_g: Water at the start.
        water_evaporated_g: Steam from the start until the pot was lifted or the record ended.
        heat_into_water_j: Sensible and latent heat from the start until lifted, flameout or the end, the first of them.
        heat_released_j: Heat that left fuel and starter in that window.

    """

    pot_on_s: float
    boil_s: float | None
    pot_off_s: float | None
    water_start_g: float
    water_evaporated_g: float
    heat_into_water_j: float
    heat_released_j: float


@dataclass(frozen=True, slots=True, eq=False)
class TrueCurves:
    """True curves at 1 Hz, all (n,): entry i is the state at `t_s[i]`, rates are means of the second around it.

    `fuel_g` is raw fuel, half-pyrolysed particles and char; `burning_rate_g_min` the loss of fuel and starter;
    `firepower_w` the heat that leaves the bed; `flame_power_w` what of it burns in a visible flame.
    """

    t_s: NDArray[np.float64]
    fuel_g: NDArray[np.float64]
    char_g: NDArray[np.float64]
    water_g: NDArray[np.float64]
    burning_rate_g_min: NDArray[np.float64]
    firepower_w: NDArray[np.float64]
    water_c: NDArray[np.float64]
    flame_power_w: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """All truths of one burn. What does not exist (no flameout, no fuel) is None.

    Attributes:
        events: In order of time.
        dark: Stretches between lighting and the final flameout in which no flame burnt.
        boiling_point_c: Local boiling point.
        fuel_burned_g: Moist fuel put in less what was left raw at flameout.
        fuel_mass_lost_g: Loss of the fuel from lit to flameout, without starter.
        fuel_left_g: All that remained of the fuel at flameout; fuel put in less `fuel_mass_lost_g`.
        char_left_g: Of that, what the front has passed.
        unburnt_g: Of that, moist fuel that the front has not reached.
        char_burned_g: Char oxidised before flameout.
        char_yield: `char_left_g` over the dry fuel put in less unburnt.
        heat_released_j: Heat that left fuel and starter, lit to flameout.
        burning_rate_mean_g_min: Loss of fuel and starter from lit to flameout over that time.
        firepower_mean_w: `heat_released_j` over that time.
        volatiles_at_flameout: Release of volatiles at flameout over its mean while flaming.
        water_evaporated_g: All visits together.
        heat_into_water_j: All visits together, to flameout at most.
        stays: The pot's visits.
        curves: 1 Hz curves.

    """

    events: tuple[TrueEvent, ...]
    dark: tuple[tuple[float, float], ...]
    boiling_point_c: float
    fuel_burned_g: float | None
    fuel_mass_lost_g: float | None
    fuel_left_g: float | None
    char_left_g: float | None
    unburnt_g: float | None
    char_burned_g: float | None
    char_yield: float | None
    heat_released_j: float | None
    burning_rate_mean_g_min: float | None
    firepower_mean_w: float | None
    volatiles_at_flameout: float | None
    water_evaporated_g: float
    heat_into_water_j: float
    stays: tuple[TrueStay, ...]
    curves: TrueCurves

    def of_kind(self, kind: str) -> tuple[TrueEvent, ...]:
        """Return the events of one kind, in order."""
        return tuple(event for event in self.events if event.kind == kind)

    def time_of(self, kind: str) -> float | None:
        """Return the time of the first event of a kind, or None."""
        return next((event.t_s for event in self.events if event.kind == kind), None)

    def to_json(self) -> str:
        """Return the whole truth as JSON text, numbers rounded to 6 significant digits in the curves."""
        tree = {field.name: getattr(self, field.name) for field in fields(self)}
        tree["events"] = [asdict(event) for event in self.events]
        tree["stays"] = [asdict(stay) for stay in self.stays]
        tree["curves"] = {
            field.name: [float(f"{value:.6g}") for value in getattr(self.curves, field.name).tolist()]
            for field in fields(self.curves)
        }
        return json.dumps(tree, indent=1, allow_nan=False)


def truth_of(scenario: Scenario, course: Course) -> Truth:
    """Work out the truth of a course."""
    column = course.column
    end_s = float(course.t_s[-1])
    last_s = end_s if course.flameout_s is None else course.flameout_s
    stays = []
    for visit in course.visits:
        left_s = end_s if visit.off_s is None else visit.off_s
        window_s = max(visit.on_s, min(left_s, last_s if course.lit_s is not None else end_s))
        stays.append(
            TrueStay(
                visit.on_s,
                visit.boil_s,
                visit.off_s,
                visit.spec.water_g,
                course.at("evaporated_g", left_s) - course.at("evaporated_g", visit.on_s),
                course.at("into_water_j", window_s) - course.at("into_water_j", visit.on_s),
                course.at("released_j", window_s) - course.at("released_j", visit.on_s),
            )
        )
    burn = dict.fromkeys(_BURN_KEYS) if course.lit_s is None or course.flameout_s is None else _burn(scenario, course)
    return Truth(
        events=_events(scenario, course),
        dark=course.dark,
        boiling_point_c=course.boiling_c,
        water_evaporated_g=float(column["evaporated_g"][-1]),
        heat_into_water_j=sum(stay.heat_into_water_j for stay in stays),
        stays=tuple(stays),
        curves=_curves(course),
        **burn,
    )


_BURN_KEYS = (
    "fuel_burned_g", "fuel_mass_lost_g", "fuel_left_g", "char_left_g", "unburnt_g", "char_burned_g", "char_yield",
    "heat_released_j", "burning_rate_mean_g_min", "firepower_mean_w", "volatiles_at_flameout",
)  # fmt: skip


def _burn(scenario: Scenario, course: Course) -> dict[str, float | None]:
    assert scenario.fuel is not None
    assert course.lit_s is not None
    assert course.flameout_s is not None
    lit_s, out_s = course.lit_s, course.flameout_s
    added = [refuel for refuel in scenario.refuel if refuel.t_s < out_s]
    fuel_in_g = scenario.fuel.mass_g + sum(refuel.mass_g for refuel in added)
    raw_g, left_g = course.at("raw_g", out_s), course.at("fuel_g", out_s)
    dry_g = scenario.fuel.mass_g * (1.0 - scenario.fuel.moisture_wet)
    dry_g += sum(refuel.mass_g * (1.0 - refuel.moisture_wet) for refuel in added)
    raw_dry_g = raw_g * dry_g / fuel_in_g
    minutes = (out_s - lit_s) / 60.0
    released_j = course.at("released_j", out_s) - course.at("released_j", lit_s)
    starter_g = scenario.fuel.starter_g - course.at("starter_g", out_s)
    first, last = round(lit_s / STEP_S), round(out_s / STEP_S)
    flaming = course.column["volatiles_g_s"][first:last]
    char_g = left_g - raw_g
    return {
        "fuel_burned_g": fuel_in_g - raw_g,
        "fuel_mass_lost_g": fuel_in_g - left_g,
        "fuel_left_g": left_g,
        "char_left_g": char_g,
        "unburnt_g": raw_g,
        "char_burned_g": float(np.sum(course.column["char_g_s"][: last + 1]) * STEP_S),
        "char_yield": char_g / (dry_g - raw_dry_g),
        "heat_released_j": released_j,
        "burning_rate_mean_g_min": (fuel_in_g - left_g + starter_g) / minutes,
        "firepower_mean_w": released_j / (60.0 * minutes),
        "volatiles_at_flameout": course.at("volatiles_g_s", out_s) / float(flaming.mean()),
    }


def _events(scenario: Scenario, course: Course) -> tuple[TrueEvent, ...]:
    events: list[TrueEvent] = []
    if course.lit_s is not None:
        events.append(TrueEvent("lit", course.lit_s, note="match put to it"))
    pot = scenario.pot
    counted = pot is not None and pot.stands == "stove"
    for visit in course.visits:
        assert pot is not None
        lid_g = pot.lid_g if pot.lid else 0.0
        on_g = pot.tare_g + lid_g + visit.spec.water_g
        events.append(TrueEvent("pot_on", visit.on_s, on_g if counted else None))
        if visit.boil_s is not None:
            note = f"bulk of the water at {course.boiling_c:.2f} °C"
            blind = "" if _probe_sees(scenario, visit.boil_s) else "; no working probe in the water"
            events.append(TrueEvent("boil", visit.boil_s, note=note + blind))
        if visit.off_s is not None:
            off_g = pot.tare_g + lid_g + course.at("water_g", visit.off_s)
            events.append(TrueEvent("pot_off", visit.off_s, -off_g if counted else None))
    pieces = "" if scenario.fuel is None else f"{FORMS[scenario.fuel.form].pieces} pieces in 100 g"
    events.extend(TrueEvent("refuel", refuel.t_s, refuel.mass_g, pieces) for refuel in scenario.refuel)
    events.extend(TrueEvent("step", hand.t_s, hand_weight_g(hand, scenario), hand.kind) for hand in scenario.hand)
    if course.flameout_s is not None:
        events.append(TrueEvent("flameout", course.flameout_s, note="end of sustained visible flame"))
    end_s = float(course.t_s[-1])
    return tuple(sorted((event for event in events if event.t_s <= end_s), key=lambda event: event.t_s))


def _probe_sees(scenario: Scenario, t_s: float) -> bool:
    """Return whether a working probe hangs in the water at a time."""
    water = scenario.channels.water
    if water is None:
        return False
    return not any(fault.from_s <= t_s and (fault.to_s is None or t_s < fault.to_s) for fault in water.faults)


def _curves(course: Course) -> TrueCurves:
    column = course.column
    every = round(1.0 / STEP_S)
    lost = (column["volatiles_g_s"] + column["char_g_s"] + column["starter_g_s"]) * 60.0

    def state(name: str) -> NDArray[np.float64]:
        return column[name][::every]

    def mean(values: NDArray[np.float64]) -> NDArray[np.float64]:
        # Step i ends at t[i]: the second around t is made of the steps that end at t and at t + STEP_S.
        after = np.concatenate((values[1:], values[-1:]))
        return np.asarray((0.5 * (values + after))[::every], dtype=np.float64)

    return TrueCurves(
        t_s=course.t_s[::every],
        fuel_g=state("fuel_g"),
        char_g=state("char_g"),
        water_g=state("water_g"),
        burning_rate_g_min=mean(lost),
        firepower_w=mean(column["firepower_w"]),
        water_c=state("bulk_c"),
        flame_power_w=mean(column["flame_w"]),
    )
