"""All that is true of one burn before it begins: fuel, stove, pot, place, deeds. Drawn by `kinds`."""

from dataclasses import dataclass
from typing import Literal

from emberline_sim.particles.fuel import Charge, Hearth, Nature
from emberline_sim.particles.gas import Burner
from emberline_sim.particles.vessel import Vessel
from emberline_sim.trial_specs import PlaceSpec

DeedKind = Literal[
    "light", "smother", "relight", "pot_on", "pot_off", "refuel", "lid_on", "lid_off", "poke", "bump", "tug", "snuff"
]


@dataclass(frozen=True, slots=True)
class Deed:
    """Something that a person does, at a time or so long after something happened.

    Attributes:
        kind: What.
        at_s: When, if it waits for nothing.
        after: What it waits for: `boil`, `flameout`, `pot_off` or `pot_on`.
        delay_s: How long after that.
        portions: Of a refuel: seconds after the first, grams.
        moisture_wet: Of a refuel.
        water_g: Of a pot: fresh water in it; 0 for the water that was in it.
        water_c: Its temperature.
        lid: Whether the lid is on it.
        amount_g: Force of a tug; char that a poke scatters.
        lasts_s: How long a poke, a tug or a cover lasts, a lighter is held, or a weight takes to come to rest.
        rough: How hard the hand is, 1 being usual.

    """

    kind: DeedKind
    at_s: float | None = None
    after: str | None = None
    delay_s: float = 0.0
    portions: tuple[tuple[float, float], ...] = ()
    moisture_wet: float = 0.1
    water_g: float = 0.0
    water_c: float = 0.0
    lid: bool = False
    amount_g: float = 0.0
    lasts_s: float = 1.0
    rough: float = 1.0


@dataclass(frozen=True, slots=True)
class Setting:
    """One burn before it begins.

    Attributes:
        seed: Seed of every chance in it.
        nature: What the fuel is made of.
        charge: The batch.
        hearth: The chamber.
        burner: The flame's habits.
        starter_g: Liquid fire starter on top.
        starter_lhv_j_g: Its net calorific value.
        lighter_s: How long a lighter is held to the fuel.
        vessel: The pot, if any.
        pot_beside: Whether the pot stands on a load cell of its own.
        place: Where.
        deeds: What the person does.
        wander: Relative standard deviation of the primary air.
        tail_s: Length of the record after flameout.
        least_s: Shortest record.
        most_s: Longest.
        begins_s: Moment at which the record begins.

    """

    seed: int
    nature: Nature
    charge: Charge
    hearth: Hearth
    burner: Burner
    starter_g: float
    starter_lhv_j_g: float
    lighter_s: float
    vessel: Vessel | None
    pot_beside: bool
    place: PlaceSpec
    deeds: tuple[Deed, ...]
    wander: float
    tail_s: float
    least_s: float
    most_s: float
    begins_s: float = 0.0
