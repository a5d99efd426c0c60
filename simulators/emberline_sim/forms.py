"""How the form of a fuel shapes its burn.

The numbers are for a natural-draught stove of 10 cm bore and stand within the published ranges (5 to 15 g/min while
flaming; char 10 to 25 % of the fuel; larger particles leave more char: James, Yuan and Boyette, Energies 9(4) 283,
2016; pellets burn slowly and evenly, sticks unevenly: common practice, no source).
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FuelForm:
    """What a particle form does to the burn.

    Attributes:
        rate_g_min: Moist fuel that the front consumes per minute at 10 % moisture, fully developed.
        char_yield: Dry char over dry fuel.
        unevenness: Relative standard deviation of the front's speed over the bed's cross-section.
        particle_s: Time that a particle needs to give off its volatiles once the front has reached it.
        wander: Relative standard deviation of the slow wander of the rate.
        wander_s: Memory of that wander.
        ramp_s: Time that a flame needs to spread over the top of the bed.
        char_rate_g_min: Loss of glowing char just after flameout.
        char_share: Share of that loss that goes on while volatiles shield the char.
        pieces: Pieces in 100 g, which sets how a handful falls in.

    """

    rate_g_min: float
    char_yield: float
    unevenness: float
    particle_s: float
    wander: float
    wander_s: float
    ramp_s: float
    char_rate_g_min: float
    char_share: float
    pieces: int


FORMS: dict[str, FuelForm] = {
    "pellets": FuelForm(9.2, 0.20, 0.018, 12.0, 0.05, 140.0, 170.0, 0.8, 0.0, 100),
    "chips": FuelForm(10.5, 0.17, 0.055, 15.0, 0.09, 70.0, 110.0, 1.05, 0.02, 40),
    "sticks": FuelForm(15.0, 0.14, 0.110, 28.0, 0.15, 45.0, 80.0, 0.9, 0.04, 20),
    "pieces": FuelForm(12.5, 0.21, 0.120, 65.0, 0.12, 80.0, 140.0, 1.15, 0.03, 8),
}
"""The forms by name: pressed pellets, wood chips, light sticks, split pieces of hardwood."""
