"""A made-up burn, whole or with parts missing, as the final pass would hand it over."""

import numpy as np
from uncertainties import ufloat

from emberline.bench.channels import Role
from emberline.bench.plan import parse_plan
from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.curves.grid import Column, Grid
from emberline.heat.account import Account
from emberline.heat.result import QualityNote, Result
from emberline.heat.results import Results, VisitResult
from emberline.trials.analysis import Analysis

PLAN = """
label = "Beech offcuts, narrow holes, second burn"
factors = { fuel = "beech offcuts", air_holes = "16 x 5 mm", fill = "90 mm" }
[fuel]
mass_g = 280.0
moisture_wet = 0.10
starter_g = 4.0
lot = "beech-b"
[pot]
tare_g = 365.0
water_g = 600.0
[place]
altitude_m = 410.0
ambient_c = 16.0
[[refuel]]
mass_g = 60.0
"""


def make_burn(
    *,
    plan: str = PLAN,
    seconds: int = 2400,
    pot: bool = True,
    mass: bool = True,
    flameout: bool = True,
    steps: int = 1,
    events: tuple[Event, ...] | None = None,
) -> Analysis:
    t = np.arange(seconds, dtype=np.float64) + 0.5
    lit, on, boil, off, out = 90.0, 150.0, 0.26 * seconds, 0.42 * seconds, 0.7 * seconds
    chance = np.random.default_rng(7)
    rate = 11.0 * np.clip((t - lit) / 120.0, 0, 1) * np.where(t < out, 1.0, 0.08)
    fuel = 284.0 * np.clip(1 - np.cumsum(rate) / max(np.sum(rate), 1.0) * 0.9, 0.05, 1)
    rate = -np.gradient(fuel) * 60.0
    standing = (t >= on) & (t < off) & pot
    water_c = np.where(t < boil, 16.0 + (98.6 - 16.0) * np.clip((t - on) / (boil - on), 0, 1), 98.6)
    water_g = np.where(standing, 600.0 - np.clip(t - boil, 0, None) * 0.3, np.nan)
    noise = chance.normal(0, 1, seconds)
    flame = 20.0 + 640.0 * np.clip((t - lit) / 60.0, 0, 1) * np.where(t < out, 1.0, 0.55) + 25.0 * noise
    cell = 1840.0 + fuel + np.where(standing, 365.0 + np.nan_to_num(water_g), 0.0) + 0.3 * noise
    cell[(seconds * 2) // 3] = 9e4
    columns = {Role.FLAME: flame}
    if pot:
        columns[Role.WATER] = np.where(standing | (t < on), water_c + 0.1 * noise, np.nan)
    if mass:
        columns[Role.MASS] = cell
    grid = Grid(
        seconds,
        {
            role: Column(t, value, np.full(seconds, 0.2), np.full(seconds, 10, dtype=np.int64))
            for role, value in columns.items()
        },
    )
    found = events if events is not None else _events(lit, on, boil, off, out, pot=pot, flameout=flameout, steps=steps)
    blank = np.full(seconds, np.nan)
    account = Account(
        t_s=t,
        fuel_g=fuel if mass else blank,
        u_fuel_g=np.full(seconds, 1.5),
        water_g=water_g if mass else blank,
        burning_rate_g_min=np.where(np.abs(t - on) < 4, np.nan, rate) if mass else blank,
        u_burning_rate_g_min=np.where(standing, 0.55, 0.35),
        phase=tuple(
            Phase.WAITING if s < lit else Phase.KINDLING if s < lit + 120 else Phase.FLAMING if s < out else Phase.CHAR
            for s in t
        ),
        visits=(),
        fuel_in_g=ufloat(340.0, 0.7),
        fuel_lost=lambda a, b: ufloat(10.0, 1.0) * (b - a),
        has_mass=mass,
    )
    return Analysis(
        trial="2026-11-25-1",
        bench="shed",
        plan=parse_plan(plan),
        grid=grid,
        events=found,
        retracted=(Retraction(EventKind.FLAMEOUT, 1010.0, 1042.0, "the flame came back after the refuel"),),
        account=account,
        results=_results(pot=pot, mass=mass, flameout=flameout, on=on, boil=boil, off=off),
        boiling_point=ufloat(98.62, 0.41, tag="pressure"),
        quality=(
            QualityNote("wind", "The scale was unsteady between 12:10 and 13:00: wind widened the uncertainties."),
        ),
    )


def _events(
    lit: float, on: float, boil: float, off: float, out: float, *, pot: bool, flameout: bool, steps: int
) -> tuple[Event, ...]:
    kinds = [Event(EventKind.LIT, lit, 2.1, "mass loss of 4.1 g/min kept up for 60 s", announced_t_s=lit + 21)]
    if pot:
        kinds += [
            Event(EventKind.POT_ON, on, 0.6, "a step of +965.2 g", ufloat(965.2, 0.8), announced_t_s=on + 9),
            Event(EventKind.BOIL, boil, 1.6, "plateau of 98.4 °C against 98.6 °C here", announced_t_s=boil + 24),
            Event(EventKind.POT_OFF, off, 0.7, "a step of −840 g", ufloat(-840.0, 0.9)),
        ]
    kinds += [
        Event(EventKind.STEP, on + 220.0 + 35.0 * index, 1.0, "unexplained <load>", ufloat(2.0, 0.4), confirmed=False)
        for index in range(steps)
    ]
    kinds.append(
        Event(EventKind.REFUEL, off + 60.0, 0.9, "a step of +60.1 g", ufloat(60.1, 0.5), announced_t_s=off + 70)
    )
    if flameout:
        kinds.append(
            Event(EventKind.FLAMEOUT, out, 6.0, "rate fell to 9 % of its flaming level", announced_t_s=out + 40)
        )
    return tuple(sorted(kinds, key=lambda event: event.t_s))


def _results(*, pot: bool, mass: bool, flameout: bool, on: float, boil: float, off: float) -> Results:
    curve, lag = ufloat(0.0, 1.6, tag="boil"), ufloat(0.0, 0.4, tag="probe_lag")
    span, drift = ufloat(1.0, 0.001, tag="cell_span"), ufloat(0.0, 0.9, tag="cell_drift")
    heat = ufloat(18_400.0, 600.0, tag="fuel.lhv_dry_j_g")
    char = ufloat(29_500.0, 1500.0, tag="fuel.char_lhv_j_g")
    wet = ufloat(0.10, 0.01, tag="fuel.moisture_wet")
    end = ufloat(1680.0, 6.0, tag="flameout")
    values: dict[str, Result] = {}
    absent: dict[str, str] = {"turndown": "no phase of low power was run"}
    lost, left = 252.0 * span + drift, 52.0 - drift
    fuel_j, char_j = 280.0 * ((1 - wet) * heat - 2443.0 * wet), left * char
    water_j = 600.0 * 4.186 * 82.6 + 126.0 * 2257.0
    if pot:
        values["time_to_boil"] = Result(boil - on + curve + lag, "s")
        values["water_evaporated"] = Result(126.0 + 0.8 * drift, "g")
    else:
        absent["time_to_boil"] = absent["water_evaporated"] = absent["thermal_efficiency"] = "no pot stood on the stove"
    if flameout:
        values["burn_time"] = Result(end - 90.0, "s")
    else:
        absent["burn_time"] = absent["char_left"] = "no flameout was found: the record ends while it burns"
    if mass and flameout:
        values["burning_rate_mean"] = Result(lost / (end - 90.0) * 60.0, "g/min")
        values["burning_rate_peak"] = Result(ufloat(12.9, 0.4, tag="curve"), "g/min")
        values["fuel_mass_lost"] = Result(lost, "g")
        values["firepower_mean"] = Result((fuel_j - char_j) / (end - 90.0), "W")
        values["char_left"] = Result(left, "g")
        values["char_yield"] = Result(left / (280.0 * (1 - wet)), "")
        if pot:
            values["thermal_efficiency"] = Result(water_j / fuel_j, "")
            values["thermal_efficiency_char_credit"] = Result(water_j / (fuel_j - char_j), "")
    visits = (
        (
            VisitResult(
                on, boil, off, values.get("water_evaporated"), Result(ufloat(0.31, 0.02, tag="curve"), ""), "pot lifted"
            ),
        )
        if pot
        else ()
    )
    notes = (QualityNote("moisture_assumed", "The plan gave no moisture: 12 ± 8 % was assumed."),)
    return Results(values, absent, np.zeros(3), visits, (), notes)
