"""What a fuel and a chamber are, and how wood comes apart when it is heated."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LATENT_25C_J_G = 2443.0
"""Latent heat of water at 25 °C, by which moisture lowers a net calorific value (ISO 18125; from memory)."""
TABLE_K = np.arange(200.0, 1400.0, 2.0)


def pyrolysis_tables(char_bias: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return rate (1/s) and share that becomes char over `TABLE_K`.

    Three reactions compete for the wood: gas, tar and char (Thurner and Mann, Ind. Eng. Chem. Process Des. Dev. 20
    (1981) 482; constants from memory). `char_bias` scales the third: woods differ in their minerals.
    """
    rt = 8.314462618 * TABLE_K
    gas = 1.43e4 * np.exp(-88.6e3 / rt)
    tar = 4.12e6 * np.exp(-112.7e3 / rt)
    char = char_bias * 7.37e5 * np.exp(-106.5e3 / rt)
    total = gas + tar + char
    return total, char / total


@dataclass(frozen=True, slots=True)
class Nature:
    """What the fuel is made of.

    Attributes:
        lhv_dry_j_g: Net calorific value, dry, ash included.
        char_lhv_j_g: Net calorific value of ash-free char.
        ash_fraction: Ash over dry fuel.
        char_bias: Rate of the reaction that forms char, relative to the published one.
        glow_1_s: Rate of char oxidation at 1000 K with air to spare, relative to the char.

    """

    lhv_dry_j_g: float
    char_lhv_j_g: float
    ash_fraction: float
    char_bias: float
    glow_1_s: float


@dataclass(frozen=True, slots=True)
class Hearth:
    """The chamber.

    Attributes:
        bore_m: Inner diameter.
        air_g_s: Primary air at full draught.
        heat_share: Share of the heat made in the bed that goes into fuel.
        bypass: Share of the primary air that passes beside the front.
        keeps: Share of glowing char's heat that stays in the char; the rest leaves with gas, some as carbon monoxide.
        metal_j_k: Heat capacity of the grate and wall around the char.

    """

    bore_m: float
    air_g_s: float
    heat_share: float
    bypass: float
    keeps: float
    metal_j_k: float

    @property
    def area_m2(self) -> float:
        """Cross-section."""
        return 0.25 * math.pi * self.bore_m**2


@dataclass(frozen=True, slots=True)
class Charge:
    """Fuel put in at one time.

    Attributes:
        mass_g: Moist mass.
        moisture_wet: Mean moisture, wet basis.
        moisture_spread: Standard deviation of it between pieces.
        size_m: Median thickness of a piece.
        size_spread: Standard deviation of its logarithm.
        bulk_g_m3: Bulk density.

    """

    mass_g: float
    moisture_wet: float
    moisture_spread: float
    size_m: float
    size_spread: float
    bulk_g_m3: float


@dataclass(frozen=True, slots=True)
class Outflow:
    """What left the bed in one step."""

    volatiles_g: float
    steam_g: float
    char_g: float
    volatiles_j: float
    char_j: float

    def part(self, share: float) -> "Outflow":
        """Return a share of it."""
        return Outflow(
            share * self.volatiles_g, share * self.steam_g, share * self.char_g, share * self.volatiles_j,
            share * self.char_j,
        )  # fmt: skip
