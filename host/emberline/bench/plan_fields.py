"""The keys of a plan as a person is asked for them: what each is called, in what unit, and what is meant."""

from collections.abc import Mapping
from dataclasses import dataclass

from emberline.bench.fuels import POT_HEAT_CAPACITY_J_GK
from emberline.bench.plan_quantities import QUANTITIES
from emberline.bench.plan_values import PlanValue

_UNITS = {"degC": "°C"}


@dataclass(frozen=True, slots=True)
class Field:
    """One key of a plan.

    Attributes:
        key: The key, such as `fuel.mass_g`.
        title: What a person calls it.
        hint: What is meant, where the title leaves it open.
        choices: Values to choose from; empty for a number or words.
    """

    key: str
    title: str
    hint: str = ""
    choices: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The key within its table."""
        return self.key.rpartition(".")[2]

    @property
    def is_number(self) -> bool:
        """Whether a number stands there."""
        return self.name in QUANTITIES

    @property
    def unit(self) -> str:
        """Unit as it is printed; empty for a fraction and for words."""
        unit = QUANTITIES[self.name].unit if self.is_number else ""
        return _UNITS.get(unit, unit)

    @property
    def u_key(self) -> str:
        """The key of its standard uncertainty."""
        return f"{self.key.removesuffix(self.name)}u_{self.name}"

    def usual_u(self, value: PlanValue | None) -> str:
        """Return the standard uncertainty that is assumed where none is given, as text."""
        if not self.is_number:
            return ""
        quantity = QUANTITIES[self.name]
        if isinstance(value, int | float) and not isinstance(value, bool):
            return f"{quantity.assumed_u(float(value)):.2g}"
        return f"{quantity.u:g}" if quantity.u else f"{100.0 * quantity.u_relative:g} %"


LID = {"lid on": True, "no lid": False}

GROUPS: Mapping[str, tuple[Field, ...]] = {
    "The trial": (Field("label", "Its name"),),
    "Fuel": (
        Field("fuel.mass_g", "Fuel, as put in", "moist, without kindling and starter"),
        Field("fuel.moisture_wet", "Moisture, wet basis", "water over moist mass, a fraction: 0.11 for 11 %"),
        Field("fuel.moisture_dry", "or moisture, dry basis", "water over dry mass; one of the two"),
        Field("fuel.lhv_dry_j_g", "Net heating value, dry", "of the dry fuel; one of the three heating values"),
        Field("fuel.hhv_dry_j_g", "or gross heating value, dry", "as a bomb calorimeter gives it"),
        Field("fuel.hydrogen_fraction", "Hydrogen, with the gross value", "of the dry fuel, a fraction"),
        Field("fuel.lhv_as_fired_j_g", "or net heating value, moist", "of the fuel as it is burnt"),
        Field("fuel.char_lhv_j_g", "Heating value of its char"),
        Field("fuel.ash_fraction", "Ash", "over dry fuel, a fraction"),
        Field("fuel.kindling_g", "Kindling"),
        Field("fuel.kindling_moisture_wet", "Moisture of the kindling", "wet basis, a fraction"),
        Field("fuel.starter_g", "Liquid fire starter", "measured before lighting, bottle taken away"),
        Field("fuel.starter_lhv_j_g", "Heating value of the starter", "that of ethanol where none is given"),
        Field("fuel.lot", "Lot of the fuel", "trials of one lot share its heating value"),
    ),
    "Pot": (
        Field("pot.tare_g", "Empty pot"),
        Field("pot.water_g", "Water put in"),
        Field("pot.water_start_c", "Water at the start", "where no probe measures it"),
        Field("pot.lid", "Lid", choices=tuple(LID)),
        Field("pot.lid_g", "Weight of the lid"),
        Field("pot.material", "Material of the pot", choices=tuple(POT_HEAT_CAPACITY_J_GK)),
        Field("pot.heat_capacity_j_k", "or heat capacity of the pot", "of the whole pot"),
    ),
    "Place": (
        Field("place.altitude_m", "Altitude", "for the boiling point"),
        Field("place.pressure_pa", "or air pressure", "at the station, not that of the sea level"),
        Field("place.ambient_c", "Air temperature"),
    ),
    "Load cell": (
        Field("load_cell.known_g", "A known mass"),
        Field("load_cell.shown_g", "shown before the burn as"),
        Field("load_cell.shown_after_g", "shown after the burn as"),
    ),
    "Weighed afterwards": (
        Field("pot.final_water_g", "Water left in the pot"),
        Field("pot.final_water_delay_s", "The hot pot stood open before that for"),
        Field("fuel.char_left_g", "Char left", "only when it is cold; never a hot one"),
        Field("fuel.unburnt_g", "Unburnt fuel", "sorted out of the cold char"),
        Field("fuel.char_snuffed_s", "The char was smothered", "seconds after flameout"),
    ),
}
"""The fields in the order in which they are asked for; what is not here, such as refuels, stands in a plan's text."""

FIELDS = tuple(field for group in GROUPS.values() for field in group)
