"""What a person can do to know an input better, and how well it can be known then."""

from dataclasses import dataclass

from emberline.heat.uncharred import IN_PIECES

WEIGHED_U_G = 0.5
"""Standard uncertainty of a weight on a kitchen balance that shows 1 g, read twice (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Remedy:
    """What helps to know an input better.

    Attributes:
        order: What to do, as an order.
        u: Standard uncertainty of the input that it reaches, in the input's unit; or
        rest: what it leaves of the present uncertainty, where the input has no unit of its own.
    """

    order: str
    u: float | None = None
    rest: float = 1.0

    def keeps(self, u: float) -> float:
        """Return the share of an input's uncertainty that stays; 1 where the input is known better already."""
        if not u > 0.0:
            return 1.0
        if self.u is not None:
            return min(self.u / u, 1.0)
        return self.rest


# Reached: a bomb's reproducibility between laboratories is 300 J/g at most (ISO 18125, from memory), 100 J/g as
# standard uncertainty; oven drying repeats within 0.2 % of moisture (ISO 18134, from memory); a balance with 0.1 g
# steps read twice 0.06 g; thermocouples of type T in class 1 0.5 K (IEC 60584-1), 0.3 K as standard uncertainty, and
# a check in boiling water the same. What else stays of an unrest or a drift: common practice, no source.
_BOMB = Remedy("have a sample of the lot measured in a bomb calorimeter", u=100.0)
_CHAR_BOMB = Remedy("have a sample of the char measured in a bomb calorimeter", u=150.0)
_OVEN = Remedy("dry a sample of the fuel at 105 °C to constant mass on the test day", u=0.002)
_FINE_FUEL = Remedy("weigh the fuel on a balance that shows 0.1 g", u=0.06)
_KINDLING_OVEN = Remedy("dry a sample of the kindling at 105 °C", u=0.002)
_WATER = Remedy("weigh the water into the pot on a balance that shows 0.1 g", u=0.06)
_WATER_LEFT = Remedy("weigh the pot on a balance that shows 0.1 g as soon as it is lifted", u=0.06)
_AT_ONCE = Remedy("weigh the pot as soon as it is lifted", u=1.0)
_SNUFF = Remedy("smother the char soon after flameout and note when", rest=0.2)
_EVAPORATED = Remedy("lift the pot as soon as the flame is out, or give it a load cell of its own", rest=0.1)
_CELL = Remedy("shield the load cell from heat, and let it stand loaded for half an hour before", rest=0.3)
_CALM = Remedy("shelter the bench from wind and keep leads off the stove", rest=0.4)
_CALIBRATE = Remedy("calibrate the load cell with a known mass near its working load", u=0.0003)
_HANDLING = Remedy("set the pot down and lift it in one movement, without touching the stove", rest=0.4)
_FINE_PROBE = Remedy("take a thermocouple of type T, checked in ice and boiling water", u=0.001)
FIT_FLAME_PROBE = Remedy("fit a flame probe", u=3.0)

WEIGH_CHAR = Remedy("smother the char at flameout and weigh it cold")
"""Replaces the fuel's whole balance by one weight, so its promise is worked out by computing again."""

REMEDIES: dict[str, Remedy] = {
    "fuel.mass_g": _FINE_FUEL,
    "fuel.moisture_wet": _OVEN,
    "fuel.moisture_dry": _OVEN,
    "fuel.lhv_dry_j_g": _BOMB,
    "fuel.hhv_dry_j_g": _BOMB,
    "fuel.lhv_as_fired_j_g": _BOMB,
    "fuel.hydrogen_fraction": Remedy("ask the laboratory for the hydrogen of the fuel", u=0.001),
    "fuel.char_lhv_j_g": _CHAR_BOMB,
    "char_lhv_j_g": _CHAR_BOMB,
    "fuel.ash_fraction": Remedy("have the ash of the lot measured at 550 °C", u=0.001),
    "fuel.starter_g": Remedy("weigh the starter on a balance that shows 0.1 g", u=0.06),
    "fuel.starter_lhv_j_g": Remedy("light with plain ethanol of known strength", u=150.0),
    "fuel.kindling_g": Remedy("weigh the kindling on a balance that shows 0.1 g", u=0.06),
    "fuel.kindling_moisture_wet": _KINDLING_OVEN,
    "fuel.kindling_moisture_dry": _KINDLING_OVEN,
    "fuel.char_left_g": Remedy("weigh the cold char on a balance that shows 0.1 g", u=0.06),
    "fuel.unburnt_g": Remedy("weigh the unburnt pieces on a balance that shows 0.1 g", u=0.06),
    "fuel.char_snuffed_s": _SNUFF,
    "char_burnt_before_weighing": _SNUFF,
    # What is wood within a piece of char, nobody can sort out.
    "char_unfinished": Remedy("sort unburnt pieces from the cold char, and weigh both", u=IN_PIECES),
    "char_yield": Remedy("weigh the fuel before the burn and the cold char after it", u=0.003),
    "refuel.mass_g": Remedy("weigh each addition on a balance that shows 0.1 g and enter it in the plan", u=0.06),
    "refuel.moisture_wet": _OVEN,
    "refuel.moisture_dry": _OVEN,
    "pot.water_g": _WATER,
    "pot.visit.water_g": _WATER,
    "pot.final_water_g": _WATER_LEFT,
    "pot.visit.final_water_g": _WATER_LEFT,
    "pot.final_water_delay_s": _AT_ONCE,
    "pot.visit.final_water_delay_s": _AT_ONCE,
    "pot.tare_g": Remedy("weigh the empty pot on a balance that shows 0.1 g", u=0.06),
    "pot.water_start_c": Remedy("put a probe into the pot", u=0.3),
    "place.ambient_c": Remedy("enter place.ambient_c or fit a probe for the air", u=0.5),
    "pressure": Remedy("enter the station pressure as place.pressure_pa or fit a barometer", u=100.0),
    "load_cell_span": _CALIBRATE,
    "load_cell_span_warm": _CELL,
    "load_cell.known_g": Remedy("take a known mass of class M1 near the working load", u=0.05),
    "load_cell.shown_g": _CALM,
    "load_cell.shown_after_g": _CALM,
    "load_cell.zero_drift_g": _CALM,
    "load_cell_drift": _CELL,
    "load_cell_warmth": _CELL,
    "load_cell_creep": _CELL,
    "mass_curve": _CALM,
    "burning_rate": _CALM,
    "mass_step": _HANDLING,
    "evaporation_model": _EVAPORATED,
    "steam_share": _EVAPORATED,
    "pot_wall": _EVAPORATED,
    "no_water_probe": _EVAPORATED,
    "laid_on_pot": Remedy("enter the lid's weight as pot.lid_g", rest=0.0),
    "pot_account_doubtful": _EVAPORATED,
    "char_steam": _EVAPORATED,
    "water_probe": Remedy("check the probe in boiling water, or take a thermocouple of type T", u=0.3),
    "water_probe_span": _FINE_PROBE,
    "water_probe_drift": _FINE_PROBE,
    "water_probe_lag": Remedy("take a thinner probe", u=0.2),
    "boil": Remedy("take a thinner probe and enter the station pressure", rest=0.5),
    "lit": FIT_FLAME_PROBE,
    "pot_on": _HANDLING,
    "pot_off": _HANDLING,
    "flameout": FIT_FLAME_PROBE,
    "note": Remedy("write the note when the power changes", u=2.0),
}
"""What betters an input, by its tag; the numbers of visits and refuels are left out of a tag."""
