"""Kinds of burn: what is special in each. What they do not say is drawn as for any burn."""

from dataclasses import dataclass
from typing import Literal

PotHabit = Literal["lifts", "keeps", "fills_twice", "looks", "stands_first", "late", "none"]
Course = Literal["whole", "begun_late", "cut_short", "never_lit", "dies", "relit", "catches_late"]


@dataclass(frozen=True, slots=True)
class Kind:
    """What the burns of a kind share.

    Attributes:
        pot: What is done with the pot.
        course: What becomes of fire and record.
        refuels: Fewest and most additions.
        by_spoon: Whether they are small and many.
        lid: Chance of a lid.
        clumsy: Pokes, bumps and tugs: fewest and most.
        channels: Roles fitted; `flame?` by chance.
        hz: Nominal rates of the load cell.
        by_loop: Chance that a program that comes round when it can does the sampling, not a converter's clock.
        gaps: Most gaps.
        spoilt: Chance of each sensor to be broken for a while.
        wind_m_s: Range of the mean wind.
        altitude_m: Range.
        moisture: Range, wet basis; None: that of air-dry fuel.
        weak: Whether the pot takes too little heat to boil.

    """

    pot: PotHabit = "lifts"
    course: Course = "whole"
    refuels: tuple[int, int] = (0, 0)
    by_spoon: bool = False
    lid: float = 0.15
    clumsy: tuple[int, int] = (0, 1)
    channels: tuple[str, ...] = ("water", "mass", "flame?")
    hz: tuple[float, ...] = (5.0, 10.0, 10.0, 20.0)
    by_loop: float = 0.3
    gaps: int = 0
    spoilt: float = 0.0
    wind_m_s: tuple[float, float] = (0.0, 0.5)
    altitude_m: tuple[float, float] = (0.0, 1500.0)
    moisture: tuple[float, float] | None = None
    weak: bool = False


KINDS: dict[str, Kind] = {
    "lifted": Kind(),
    "kept": Kind(pot="keeps"),
    "lidded": Kind(pot="keeps", lid=1.0),
    "stands_first": Kind(pot="stands_first"),
    "filled_twice": Kind(pot="fills_twice"),
    "looked_at": Kind(pot="looks"),
    "boils_late": Kind(pot="late", lid=0.8),
    "stalls": Kind(pot="keeps", weak=True, lid=0.0),
    "bare": Kind(pot="none", channels=("mass", "flame?")),
    "scale_alone": Kind(pot="none", channels=("mass",), refuels=(0, 1)),
    "thermometer_alone": Kind(channels=("water",)),
    "scale_and_water": Kind(channels=("water", "mass"), refuels=(0, 1)),
    "two_scales": Kind(channels=("water", "mass", "pot_mass", "flame?")),
    "refuelled": Kind(refuels=(1, 3)),
    "spoonfed": Kind(refuels=(2, 4), by_spoon=True),
    "clumsy": Kind(clumsy=(3, 7), lid=0.4),
    "blustery": Kind(wind_m_s=(0.9, 2.2)),
    "highland": Kind(altitude_m=(1800.0, 3900.0)),
    "damp": Kind(moisture=(0.20, 0.28)),
    "sparse": Kind(hz=(0.5, 1.0, 1.0), by_loop=0.8, gaps=3),
    "dense": Kind(hz=(40.0, 80.0), by_loop=0.0),
    "spoilt": Kind(spoilt=0.5, gaps=2),
    "begun_late": Kind(course="begun_late"),
    "cut_short": Kind(course="cut_short"),
    "never_lit": Kind(course="never_lit", clumsy=(1, 3)),
    "dies": Kind(course="dies"),
    "relit": Kind(course="relit"),
    "catches_late": Kind(course="catches_late"),
}
"""The kinds by name."""
