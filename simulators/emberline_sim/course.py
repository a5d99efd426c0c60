"""The true course of a scenario: burn, pot and stove stepped together, with what the person does."""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline_sim.air import boiling_point_c, pressure_at_altitude_pa, wandering, wind_m_s
from emberline_sim.burn import Bed, Release
from emberline_sim.forms import FORMS
from emberline_sim.scenario import Scenario
from emberline_sim.stove import StoveBody
from emberline_sim.visits import Visit, Visits

STEP_S = 0.5
SUSTAINED_S = 10.0
"""A flame that lasts less is no return of the flame (ISO 5660-1: sustained flaming lasts over 10 s, from memory)."""
NOTHING = Release(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, False)


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The truth at every step of `STEP_S`.

    Attributes:
        t_s: (n,) step times; entry i is the state at `t_s[i]`, flows are those of the step that ended there.
        column: (n,) arrays by name: `raw_g`, `fuel_g` (without starter), `char_g`, `pyrolysing_g`, `starter_g`,
            `volatiles_g_s`, `char_g_s`, `starter_g_s`, `released_j` (cumulative heat that left the fuel and starter),
            `firepower_w`, `flame_w`, `char_w`, `flame` (0 or 1), `water_g`, `lower_c`, `upper_c`, `bulk_c`, `metal_c`,
            `boiling` (0 or 1), `on_stove` (0 or 1), `into_water_j` and `evaporated_g` (cumulative over visits, on the
            stove only), `draught`, `body_c`, `cell_c`, `ambient_c`, `wind_m_s`.
        pressure_pa: Station pressure.
        boiling_c: Local boiling point.
        nominal_power_w: Volatiles' power of the batch fully alight.
        lit_s: Moment of lighting; None without fuel, or if the record ends before it.
        flameout_s: Final end of sustained visible flame; None if it burns to the end of the record.
        dark: Stretches before it in which no flame burnt.
        visits: The pot's stays.

    """

    t_s: NDArray[np.float64]
    column: dict[str, NDArray[np.float64]]
    pressure_pa: float
    boiling_c: float
    nominal_power_w: float
    lit_s: float | None
    flameout_s: float | None
    dark: tuple[tuple[float, float], ...]
    visits: tuple[Visit, ...]

    def at(self, name: str, t_s: float) -> float:
        """Return the value of a column at a time (state of the last step at or before it)."""
        return float(self.column[name][min(len(self.t_s) - 1, max(0, round(t_s / STEP_S)))])


def rng_of(scenario: Scenario, part: str) -> np.random.Generator:
    """Return the source of chance of one part, so that a change in one part leaves the others as they are."""
    return np.random.default_rng([scenario.seed, *part.encode()])


def run_course(scenario: Scenario) -> Course:
    """Step the physics of a scenario from 0 to its duration."""
    place, fuel, burn = scenario.place, scenario.fuel, scenario.burn
    n = round(scenario.duration_s / STEP_S) + 1
    t_s: NDArray[np.float64] = np.arange(n, dtype=np.float64) * STEP_S
    pressure_pa = pressure_at_altitude_pa(place.altitude_m) + place.weather_pa
    ambient_c = place.ambient_c + place.ambient_rise_c * t_s / 3600.0
    wind = wind_m_s(n, STEP_S, place.wind_m_s, place.gustiness, rng_of(scenario, "wind"))
    bed = None if fuel is None else Bed(fuel, burn, rng_of(scenario, "bed"))
    wander = np.zeros(n)
    if fuel is not None:
        form = FORMS[fuel.form]
        noise = rng_of(scenario, "wander")
        shape = 0.85 * wandering(n, STEP_S, form.wander_s, noise) + 0.5 * wandering(n, STEP_S, 8.0, noise)
        wander = np.clip(form.wander * burn.wander_factor * shape, -0.6, 0.8) + 0.04 * (wind - place.wind_m_s)
    nominal_w = 0.0 if bed is None else bed.nominal_power_w
    mass = scenario.channels.mass
    body = StoveBody(place.ambient_c, nominal_w, mass.cell_rise_c if mass is not None else 0.0)
    visits = None
    if scenario.pot is not None and scenario.pot.visits:
        lids = tuple((hand.t_s, hand.kind == "lid_on") for hand in scenario.hand if hand.kind in ("lid_on", "lid_off"))
        visits = Visits(scenario.pot, pressure_pa, place.humidity, lids)
    rows: list[tuple[float, ...]] = []
    deeds = _Deeds(scenario)
    released_j = into_water_j = evaporated_g = 0.0
    for i in range(n):
        t = i * STEP_S
        release = NOTHING
        air_c, gust = float(ambient_c[i]), float(wind[i])
        if bed is not None and i > 0:
            deeds.turn(t - STEP_S, bed)
            release = bed.step(STEP_S, float(wander[i]))
        flame_w, char_w = release.flame_j / STEP_S, release.char_j / STEP_S
        released_j += release.heat_j
        water: tuple[float, ...] = (0.0, air_c, air_c, air_c, air_c, 0.0, 0.0)
        if visits is not None:
            pot = visits.pot
            if i > 0:
                visits.turn(t - STEP_S)
                pot = visits.pot
                before_j, before_g = pot.sensible_j + pot.latent_j, pot.evaporated_g
                intake_w = pot.intake_w(flame_w, char_w, body.body_c, air_c, gust) + scenario.heater_w
                visits.step(t - STEP_S, STEP_S, intake_w, air_c, gust)
                if visits.on:
                    into_water_j += pot.sensible_j + pot.latent_j - before_j
                    evaporated_g += pot.evaporated_g - before_g
            water = (
                pot.water_g, pot.lower_c, pot.upper_c, pot.bulk_c, pot.metal_c,
                float(pot.boiling and visits.on), float(visits.on),
            )  # fmt: skip
        body.step(STEP_S, flame_w, char_w, air_c)
        grate = (0.0, 0.0, 0.0, 0.0, 0.0)
        if bed is not None:
            grate = (bed.raw_g, bed.fuel_g, bed.char_g, bed.pyrolysing_g, bed.starter_g)
        flows = (release.volatiles_g / STEP_S, release.char_g / STEP_S, release.starter_g / STEP_S)
        heats = (released_j, release.heat_j / STEP_S, flame_w, char_w, float(release.flame))
        stove = (into_water_j, evaporated_g, body.draught, body.body_c, body.cell_c, air_c, gust)
        rows.append(grate + flows + heats + water + stove)
    table = np.asarray(rows).T
    column = {name: np.ascontiguousarray(values) for name, values in zip(COLUMNS, table, strict=True)}
    lit_s = burn.lit_s if fuel is not None and burn.lit_s < t_s[-1] else None
    flameout_s, dark = _flame_ends(t_s, column["flame"] > 0.5)
    past = tuple(visits.past) if visits is not None else ()
    return Course(t_s, column, pressure_pa, boiling_point_c(pressure_pa), nominal_w, lit_s, flameout_s, dark, past)


COLUMNS = (
    "raw_g", "fuel_g", "char_g", "pyrolysing_g", "starter_g", "volatiles_g_s", "char_g_s", "starter_g_s",
    "released_j", "firepower_w", "flame_w", "char_w", "flame", "water_g", "lower_c", "upper_c", "bulk_c", "metal_c",
    "boiling", "on_stove", "into_water_j", "evaporated_g", "draught", "body_c", "cell_c", "ambient_c", "wind_m_s",
)  # fmt: skip


class _Deeds:
    """What the person does to the fire, in time order."""

    def __init__(self, scenario: Scenario) -> None:
        burn = scenario.burn
        self._lit_s: float | None = burn.lit_s
        self._smother_s, self._relit_s = burn.smother_s, burn.relit_s
        self._refuels = sorted(scenario.refuel, key=lambda refuel: refuel.t_s)
        self._snuffed_after_s = burn.snuffed_after_s
        self._dark_since_s: float | None = None

    def turn(self, t_s: float, bed: Bed) -> None:
        """Do what is due at `t_s`."""
        if self._lit_s is not None and t_s >= self._lit_s:
            bed.light()
            self._lit_s = None
        if self._smother_s is not None and t_s >= self._smother_s:
            bed.smother()
            self._smother_s = None
        if self._relit_s is not None and t_s >= self._relit_s:
            bed.relight()
            self._relit_s = None
        while self._refuels and t_s >= self._refuels[0].t_s:
            bed.add(self._refuels.pop(0))
        if self._lit_s is None and self._snuffed_after_s is not None:
            self._dark_since_s = None if bed.flame else (self._dark_since_s if self._dark_since_s is not None else t_s)
            pending = bool(self._refuels) or self._relit_s is not None
            if self._dark_since_s is not None and not pending and t_s >= self._dark_since_s + self._snuffed_after_s:
                bed.snuff()


def _flame_ends(
    t_s: NDArray[np.float64], flame: NDArray[np.bool_]
) -> tuple[float | None, tuple[tuple[float, float], ...]]:
    """Return the final end of sustained flame, and the dark stretches before it."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flame, [False])).astype(np.int8)))
    runs = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if (b - a) * STEP_S > SUSTAINED_S]
    if not runs:
        return None, ()
    dark = tuple((float(t_s[b - 1]), float(t_s[a - 1])) for (_, b), (a, _) in itertools.pairwise(runs))
    end = runs[-1][1]
    return (None if end >= len(t_s) else float(t_s[end - 1])), dark
