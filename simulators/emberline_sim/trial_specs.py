"""What a scenario may say of a trial: fuel, burn, pot, place, hands. Fields are TOML keys; units are in the names."""

from dataclasses import dataclass, field
from typing import Literal

FormName = Literal["pellets", "chips", "sticks", "pieces"]
HandKind = Literal["poke", "bump", "lid_on", "lid_off", "tool_on", "tool_off", "lean", "tip"]
PotStand = Literal["stove", "pot_cell", "beside"]


@dataclass(frozen=True, slots=True)
class FuelSpec:
    """The batch that is lit.

    Attributes:
        form: Particle form.
        mass_g: Moist mass.
        moisture_wet: Mass of water over moist mass.
        lhv_dry_j_g: Net calorific value of the dry fuel.
        char_lhv_j_g: Net calorific value of its char.
        char_yield: Dry char over dry fuel; by default that of the form.
        ash_fraction: Ash over dry fuel; it stays with the char.
        starter_g: Liquid fire starter (ethanol) poured on top before lighting.
        starter_lhv_j_g: Its net calorific value.

    """

    form: FormName
    mass_g: float
    moisture_wet: float = 0.10
    lhv_dry_j_g: float = 18400.0
    char_lhv_j_g: float = 29500.0
    char_yield: float | None = None
    ash_fraction: float = 0.006
    starter_g: float = 3.0
    starter_lhv_j_g: float = 26800.0


@dataclass(frozen=True, slots=True)
class BurnSpec:
    """How the batch burns.

    Attributes:
        lit_s: Moment of lighting.
        rate_factor: Rate relative to that of the form (air holes, draught, bore).
        wander_factor: Wander relative to that of the form.
        trend: Rise of the rate over the batch, relative: +0.3 goes from 0.85 to 1.15; negative falls.
        ramp_factor: Time to spread relative to that of the form.
        extinction: Release of volatiles below which no flame holds, relative to the nominal release.
        char_factor: Glow after flameout relative to that of the form.
        char_cooling_s: Time over which the glow cools down.
        smother_s: Moment at which the flame dies early (air choked, rain, a gust); absent: it does not.
        relit_s: Moment at which it is lit again.
        snuffed_after_s: Time after flameout at which the char is smothered under a lid that is no part of the load.

    """

    lit_s: float = 60.0
    rate_factor: float = 1.0
    wander_factor: float = 1.0
    trend: float = 0.0
    ramp_factor: float = 1.0
    extinction: float = 0.09
    char_factor: float = 1.0
    char_cooling_s: float = 1100.0
    smother_s: float | None = None
    relit_s: float | None = None
    snuffed_after_s: float | None = None


@dataclass(frozen=True, slots=True)
class RefuelSpec:
    """Fuel added by hand.

    Attributes:
        t_s: Middle of the addition.
        mass_g: Moist mass added.
        moisture_wet: Its moisture.
        over_s: Time that the hand takes.
        dip: What is left of the front's pace just after (0.05: the flame nearly dies).
        recovery_s: Time constant of the recovery.

    """

    t_s: float
    mass_g: float
    moisture_wet: float = 0.10
    over_s: float = 8.0
    dip: float = 0.08
    recovery_s: float = 12.0


@dataclass(frozen=True, slots=True)
class VisitSpec:
    """One stay of the pot on the stove.

    Attributes:
        on_s: Moment at which its whole weight is on.
        off_s: Moment at which it is lifted off; absent together with `off_after_boil_s`: it stays.
        off_after_boil_s: Time after the boil at which it is lifted.
        water_g: Fresh water in it.
        water_c: Temperature of that water.

    """

    on_s: float
    off_s: float | None = None
    off_after_boil_s: float | None = None
    water_g: float = 500.0
    water_c: float = 17.0


@dataclass(frozen=True, slots=True)
class PotSpec:
    """The pot and how it takes heat.

    Attributes:
        tare_g: Empty mass.
        heat_capacity_j_k: Of the metal.
        diameter_m: Of the water's surface.
        lid: Whether it starts with the lid on.
        lid_g: Mass of the lid.
        coupling: Share of the flame's power that a cold pot takes.
        char_coupling: Share of the glowing char's power.
        loss_w_k: Loss of walls and lid.
        air_w_m2k: Heat transfer to the air over the surface, which sets evaporation (5 to 10 in still air, less where
            the rim shelters the water).
        stands: On the stove on its load cell, on a second cell of its own, or off every cell.
        visits: Its stays.

    """

    tare_g: float = 380.0
    heat_capacity_j_k: float = 190.0
    diameter_m: float = 0.14
    lid: bool = False
    lid_g: float = 0.0
    coupling: float = 0.42
    char_coupling: float = 0.24
    loss_w_k: float = 0.5
    air_w_m2k: float = 4.5
    stands: PotStand = "stove"
    visits: tuple[VisitSpec, ...] = ()


@dataclass(frozen=True, slots=True)
class PlaceSpec:
    """Where it burns.

    Attributes:
        altitude_m: Above sea level.
        weather_pa: Station pressure less that of the standard atmosphere.
        ambient_c: Air temperature.
        ambient_rise_c: Its rise over an hour.
        humidity: Relative humidity.
        wind_m_s: Mean wind.
        gustiness: Its standard deviation over its mean.

    """

    altitude_m: float = 200.0
    weather_pa: float = 0.0
    ambient_c: float = 18.0
    ambient_rise_c: float = 0.0
    humidity: float = 0.55
    wind_m_s: float = 0.0
    gustiness: float = 0.35


@dataclass(frozen=True, slots=True)
class HandSpec:
    """Something that a hand does to the stove, apart from pot and fuel.

    Attributes:
        kind: `poke` the bed, `bump` the table, `lid_on`, `lid_off`, `tool_on`, `tool_off` (something left on the load),
            `lean` (a lead or a sleeve rests on the load for a while), `tip` (stove and all that stands on it fall off
            the load cell for good).
        t_s: When.
        size_g: Weight of the tool, or what a poke scatters off the load (negative), the force of a lean, or
            what is left on the cell after a tip.
        for_s: How long a poke or a lean lasts.

    """

    kind: HandKind
    t_s: float
    size_g: float = 0.0
    for_s: float = 2.0


@dataclass(frozen=True, slots=True)
class PlanSpec:
    """What the person writes down.

    Attributes:
        label: Name of the trial.
        factors: Named conditions.
        weighs_water: Whether pot and water are weighed after the last visit.
        water_delay_s: How long after.
        weighs_char: Whether the cold char is weighed (it must have been smothered).
        states_water: Whether the water poured in is known.

    """

    label: str = ""
    factors: dict[str, str] = field(default_factory=dict)
    weighs_water: bool = False
    water_delay_s: float = 0.0
    weighs_char: bool = False
    states_water: bool = True
