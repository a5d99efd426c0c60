"""Runs a burn: bed, gas, pot and person stepped together."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from emberline_sim.air import boiling_point_c, pressure_at_altitude_pa, saturation_pressure_pa
from emberline_sim.particles.bed import Bed
from emberline_sim.particles.fuel import Outflow
from emberline_sim.particles.gas import Gas
from emberline_sim.particles.history import COLUMNS, DARK_S, STEP_S, Done, History, Stay
from emberline_sim.particles.noise import coloured, wind_m_s
from emberline_sim.particles.setting import Deed, Setting
from emberline_sim.particles.vessel import STEAM_HALF, STEAM_SUSTAINED_S, Filling

BED_EVERY = 2
"""The bed takes longer steps than the rest: so many times `STEP_S`."""
STARTER_G_M2S = 6.5
"""Burning rate of a small pool of alcohol: 6 to 8 g/(m2 s) for bores of 10 cm (pool fires: order of magnitude)."""
STARTER_INTO_BED = 0.28
LIGHTER_W = 320.0


class _Course:
    """The state of everything while the burn goes on."""

    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        place = setting.place
        self.rng = np.random.default_rng([setting.seed, 11])
        n = round(setting.most_s / STEP_S) + 1
        self.pressure_pa = pressure_at_altitude_pa(place.altitude_m) + place.weather_pa
        air = place.ambient_c + place.ambient_rise_c * np.arange(n) * STEP_S / 3600.0
        self.air_c = (air + 0.25 * coloured(n, STEP_S, 1.6, 900.0, self.rng)).tolist()
        self.wind = wind_m_s(n, STEP_S, place.wind_m_s, place.gustiness, self.rng).tolist()
        sway = coloured(n, STEP_S, 1.2, 500.0, self.rng, quickest_s=4.0)
        self.wander = np.exp(setting.wander * sway).tolist()
        self.bed = Bed(setting.nature, setting.hearth, setting.charge, place.ambient_c + 273.15, self.rng)
        self.gas = Gas(setting.burner, setting.hearth.area_m2, place.ambient_c, self.rng)
        dry_g = setting.charge.mass_g * (1.0 - setting.charge.moisture_wet)
        self.fuel_in = [(0.0, setting.charge.mass_g, dry_g)]
        self.starter_g = setting.starter_g
        self.damp_pa = place.humidity * saturation_pressure_pa(place.ambient_c)
        first = next((deed for deed in setting.deeds if deed.kind == "pot_on"), None)
        # The pot stands ready beside the stove, with the water in it.
        self.filling = None if first is None else self.filled(first)
        self.on = False
        self.stays: list[Stay] = []
        self.waiting = list(setting.deeds)
        self.coming: list[tuple[float, float, Deed]] = []
        self.done: list[Done] = []
        self.lit_s: float | None = None
        self.lighter_until_s = -1.0
        self.choked_until_s = -1.0
        self.dark_since_s: float | None = None
        self.since: dict[str, float] = {}
        self.steaming_since_s: float | None = None
        self.released_j = self.into_water_j = self.evaporated_g = 0.0

    def filled(self, deed: Deed) -> Filling:
        """Return the pot freshly filled."""
        vessel = self.setting.vessel
        assert vessel is not None
        filling = Filling(vessel, deed.water_g, deed.water_c, self.pressure_pa, self.damp_pa)
        filling.lid = deed.lid
        return filling

    def due_s(self, deed: Deed) -> float | None:
        """Return when a deed is due, as far as that is known."""
        if deed.after is None:
            return deed.at_s
        if deed.kind == "snuff" and any(other.kind in ("relight", "refuel") for other in self.waiting):
            return None
        since_s = self.since.get(deed.after)
        return None if since_s is None else since_s + deed.delay_s

    def turn(self, t_s: float) -> None:
        """Do what is due."""
        if not self.waiting and not self.coming:
            return
        with_pot = next((deed for deed in self.waiting if deed.kind in ("pot_on", "pot_off")), None)
        for deed in tuple(self.waiting):
            due_s = None if deed.kind in ("pot_on", "pot_off") and deed is not with_pot else self.due_s(deed)
            if due_s is not None and t_s >= due_s:
                self.waiting.remove(deed)
                self.do(deed, t_s)
        while self.coming and t_s >= self.coming[0][0]:
            _, mass_g, deed = self.coming.pop(0)
            charge = replace(self.setting.charge, mass_g=mass_g, moisture_wet=deed.moisture_wet)
            self.bed.add(charge)
            self.fuel_in.append((t_s, mass_g, mass_g * (1.0 - deed.moisture_wet)))

    def do(self, deed: Deed, t_s: float) -> None:
        """Do one deed now."""
        setting, vessel = self.setting, self.setting.vessel
        size_g = 0.0
        match deed.kind:
            case "light" | "relight":
                self.lit_s = t_s if self.lit_s is None else self.lit_s
                self.gas.flame = self.starter_g > 0.0
                self.lighter_until_s = t_s + max(setting.lighter_s, deed.lasts_s)
                self.choked_until_s = -1.0
                self.since.pop("flameout", None)
            case "smother":
                self.bed.quench()
                self.choked_until_s = t_s + deed.lasts_s
                self.starter_g = 0.0
            case "snuff":
                self.bed.snuffed = True
            case "poke":
                self.bed.stir()
                size_g = -self.bed.spill(deed.amount_g)
            case "refuel":
                self.since.pop("flameout", None)
                size_g = sum(mass_g for _, mass_g in deed.portions)
                at = [(t_s + round(offset_s / STEP_S) * STEP_S, mass_g, deed) for offset_s, mass_g in deed.portions]
                self.coming = sorted(self.coming + at, key=lambda portion: portion[0])
            case "pot_on":
                assert vessel is not None
                if deed.water_g > 0.0 and self.stays:
                    self.filling = self.filled(deed)
                assert self.filling is not None
                self.on = True
                self.steaming_since_s = None
                self.since.pop("boil", None)
                self.stays.append(Stay(t_s, self.filling.water_g))
                size_g = vessel.tare_g + self.filling.water_g + (vessel.lid_g if self.filling.lid else 0.0)
            case "pot_off":
                assert vessel is not None
                assert self.filling is not None
                self.on = False
                self.stays[-1].off_s = t_s
                size_g = -(vessel.tare_g + self.filling.water_g + (vessel.lid_g if self.filling.lid else 0.0))
            case "lid_on" | "lid_off":
                assert vessel is not None
                if self.filling is None or not self.on:
                    return
                self.filling.lid = deed.kind == "lid_on"
                size_g = vessel.lid_g if self.filling.lid else -vessel.lid_g
            case _:
                pass
        self.since[deed.kind] = t_s
        self.done.append(Done(deed, t_s, size_g))

    def starter_step(self, t_s: float) -> float:
        """Burn starter for one step; return how much."""
        if self.lit_s is None or self.starter_g <= 0.0 or not self.gas.flame or self.choked_until_s > t_s:
            return 0.0
        warming = 1.0 - np.exp(-(t_s - self.lit_s + STEP_S) / 15.0)
        burnt = STARTER_G_M2S * self.setting.hearth.area_m2 * STEP_S * float(warming)
        burnt = min(self.starter_g, burnt * min(1.0, 0.3 + self.starter_g))
        self.starter_g -= burnt
        return burnt

    def step(self, i: int) -> tuple[float, ...]:
        """Advance by one step; return the row of `COLUMNS`."""
        t_s, setting = i * STEP_S, self.setting
        air_c, wind = self.air_c[i], self.wind[i]
        starter_g = self.starter_step(t_s)
        starter_w = starter_g * setting.starter_lhv_j_g / STEP_S
        lighter_w = LIGHTER_W if t_s < self.lighter_until_s else 0.0
        choke = 0.03 if t_s < self.choked_until_s else 1.0
        draught = (0.30 + 0.70 * self.gas.pull) * self.wander[i] * (1.0 + 0.06 * (wind - setting.place.wind_m_s))
        if i % BED_EVERY == 0:
            self.flow = self.bed.step(
                BED_EVERY * STEP_S, setting.hearth.air_g_s * choke * max(0.02, draught),
                STARTER_INTO_BED * starter_w + lighter_w, max(0.0, self.flame_w - starter_w),
            ).part(1.0 / BED_EVERY)  # fmt: skip
        flow = self.flow
        self.flame_w = self.gas.step(
            STEP_S, (flow.volatiles_g + starter_g) / STEP_S, flow.volatiles_j / STEP_S + starter_w,
            flow.char_j / STEP_S, self.bed.char_k, starter_g > 0.0, lighter_w > 0.0, self.bed.cold_g, wind,
        )  # fmt: skip
        heat_j = flow.volatiles_j + flow.char_j + starter_g * setting.starter_lhv_j_g
        self.released_j += heat_j
        self.watch(t_s)
        # The bed is ahead of the clock by the rest of its longer step.
        ahead = BED_EVERY - 1 - i % BED_EVERY
        fuel_g = self.bed.fuel_g + ahead * (flow.volatiles_g + flow.steam_g + flow.char_g)
        if i % 4 == 0:
            self.raw_g, self.raw_dry_g = self.bed.unreached_g(), self.bed.unreached_dry_g()
        raw_g = self.raw_g
        return (
            fuel_g, fuel_g - raw_g, raw_g, self.raw_dry_g, self.starter_g, (flow.volatiles_g + flow.steam_g) / STEP_S,
            flow.char_g / STEP_S, starter_g / STEP_S, self.released_j, heat_j / STEP_S, self.flame_w,
            float(self.gas.flame), self.gas.hot_c, self.gas.wall_c, self.bed.char_k, self.gas.flow_g_s, self.gas.pull,
            *self.pot_step(t_s, air_c, wind), air_c, wind,
        )  # fmt: skip

    flow = Outflow(0.0, 0.0, 0.0, 0.0, 0.0)
    flame_w = 0.0
    raw_g = 0.0
    raw_dry_g = 0.0

    def watch(self, t_s: float) -> None:
        """Note when the flame has gone; nobody gives up who holds a lighter to it."""
        if self.lit_s is None or self.gas.flame or t_s < self.lighter_until_s:
            self.dark_since_s = None
            self.since.pop("flameout", None)
        elif self.dark_since_s is None:
            self.dark_since_s = t_s
        elif t_s - self.dark_since_s > DARK_S:
            self.since["flameout"] = self.dark_since_s

    def pot_step(self, t_s: float, air_c: float, wind: float) -> tuple[float, ...]:
        """Advance the pot, on the stove or beside it; return its part of the row."""
        pot = self.filling
        if pot is None:
            return (0.0, air_c, air_c, air_c, air_c, 0.0, 0.0, 0.0, 0.0, 0.0, self.into_water_j, self.evaporated_g)
        before_j, before_g = pot.sensible_j + pot.latent_j, pot.evaporated_g
        intake_w = 0.0
        if self.on:
            gas = self.gas
            intake_w = pot.intake_w(
                gas.hot_c, gas.flow_g_s, self.bed.char_k, self.setting.hearth.area_m2, self.flame_w, wind
            )
        pot.step(STEP_S, intake_w, air_c, wind)
        if self.on:
            self.into_water_j += pot.sensible_j + pot.latent_j - before_j
            self.evaporated_g += pot.evaporated_g - before_g
            self.watch_boil(t_s, pot)
        return (
            pot.water_g, pot.bulk_c, pot.layers_c[-1], pot.layers_c[0], pot.wall_c, pot.bubbling, pot.steam_share,
            float(self.on), 1.0, float(pot.lid), self.into_water_j, self.evaporated_g,
        )  # fmt: skip

    def watch_boil(self, t_s: float, pot: Filling) -> None:
        """Date the boil: from when on more heat leaves the water as bubbles of steam than goes on warming it."""
        stay = self.stays[-1]
        if pot.steam_share < STEAM_HALF:
            self.steaming_since_s = None
        elif self.steaming_since_s is None:
            self.steaming_since_s = t_s + STEP_S
        elif stay.boil_s is None and t_s - self.steaming_since_s >= STEAM_SUSTAINED_S:
            stay.boil_s = self.since["boil"] = self.steaming_since_s


def run(setting: Setting) -> History:
    """Let a burn take its course."""
    course = _Course(setting)
    rows = []
    for i in range(round(setting.most_s / STEP_S) + 1):
        t_s = i * STEP_S
        course.turn(t_s)
        rows.append(course.step(i))
        over = course.dark_since_s is not None and t_s - course.dark_since_s >= setting.tail_s
        due = any(course.due_s(deed) is not None for deed in course.waiting)
        if over and t_s >= setting.least_s and not due and not course.coming:
            break
    table = np.asarray(rows).T
    column = {name: np.ascontiguousarray(values) for name, values in zip(COLUMNS, table, strict=True)}
    times_s: NDArray[np.float64] = STEP_S * np.arange(1, len(rows) + 1, dtype=np.float64)
    return History(
        times_s, column, course.pressure_pa, boiling_point_c(course.pressure_pa), course.lit_s,
        tuple(course.done), tuple(course.stays), tuple(course.fuel_in),
    )  # fmt: skip
