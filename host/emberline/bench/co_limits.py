"""Limits of carbon monoxide in the air that people breathe, each with its source and the time over which it is a mean.

They say what guidelines and authorities call too much. A reading below them does not say that the air is good: a sensor
stands in one place, drifts, and is no certified alarm.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

MOLAR_MASS_G = 28.010
"""Of carbon monoxide, grams per mole (IUPAC atomic weights: C 12.011, O 15.999)."""
GAS_CONSTANT = 8.314_462_618
"""Joules per mole and kelvin (CODATA 2018; exact by the SI's definitions)."""
ATMOSPHERE_PA = 101_325.0
ZERO_C_K = 273.15
MINUTE_S, HOUR_S = 60, 3_600


def mg_m3_of(ppm: float, air_c: float = 25.0, pressure_pa: float = ATMOSPHERE_PA) -> float:
    """Return milligrams of carbon monoxide in a cubic metre of air for parts per million by volume.

    By the equation of ideal gases; at 25 °C and 101,325 Pa, 1 ppm is 1.145 mg/m³, as WHO and NIOSH count it; at 20 °C
    it is 1.164 mg/m³, as the European Union counts it.
    """
    moles_m3 = pressure_pa / (GAS_CONSTANT * (air_c + ZERO_C_K))
    return ppm * 1e-6 * moles_m3 * MOLAR_MASS_G * 1e3


def ppm_of(mg_m3: float, air_c: float = 25.0, pressure_pa: float = ATMOSPHERE_PA) -> float:
    """Return parts per million by volume for milligrams in a cubic metre; the other way round as `mg_m3_of`."""
    return mg_m3 / mg_m3_of(1.0, air_c, pressure_pa)


@dataclass(frozen=True, slots=True)
class CoLimit:
    """One limit.

    Attributes:
        name: Its name in a bench file.
        title: What it is called on a screen.
        source: Where it is written.
        ppm: The limit, parts per million by volume.
        period_s: The time over which it is a mean; 0 for a ceiling, which holds at every moment.
    """

    name: str
    title: str
    source: str
    ppm: float
    period_s: int


_WHO_2010 = "WHO guidelines for indoor air quality: selected pollutants, 2010"
_WHO_2021 = "WHO global air quality guidelines, 2021"
_EU = "Directive (EU) 2017/164"
_OSHA = "29 CFR 1910.1000, table Z-1"
_NIOSH = "NIOSH pocket guide to chemical hazards"

_LIMITS = (
    CoLimit("who-15min", "WHO guideline, 15 minutes", _WHO_2010, ppm_of(100.0), 15 * MINUTE_S),
    CoLimit("who-1h", "WHO guideline, 1 hour", _WHO_2010, ppm_of(35.0), HOUR_S),
    CoLimit("who-8h", "WHO guideline, 8 hours", _WHO_2010, ppm_of(10.0), 8 * HOUR_S),
    CoLimit("who-24h", "WHO guideline, 24 hours", _WHO_2021, ppm_of(4.0), 24 * HOUR_S),
    CoLimit("eu-15min", "EU workplace limit, 15 minutes", _EU, 100.0, 15 * MINUTE_S),
    CoLimit("eu-8h", "EU workplace limit, 8 hours", _EU, 20.0, 8 * HOUR_S),
    CoLimit("osha-8h", "US workplace limit (OSHA), 8 hours", _OSHA, 50.0, 8 * HOUR_S),
    CoLimit("niosh-10h", "US workplace advice (NIOSH), 10 hours", _NIOSH, 35.0, 10 * HOUR_S),
    CoLimit("niosh-ceiling", "US workplace ceiling (NIOSH)", _NIOSH, 200.0, 0),
    CoLimit("idlh", "level immediately dangerous to life (NIOSH)", _NIOSH, 1_200.0, 0),
)

CO_LIMITS: Mapping[str, CoLimit] = MappingProxyType({limit.name: limit for limit in _LIMITS})
"""All limits by name; without a word in the bench file, all of them hold.

| name | limit | as a mean over | source |
|---|---|---|---|
| `who-15min` | 100 mg/m³ | 15 min | WHO 2010 |
| `who-1h` | 35 mg/m³ | 1 h | WHO 2010 |
| `who-8h` | 10 mg/m³ | 8 h | WHO 2010 |
| `who-24h` | 4 mg/m³ | 24 h | WHO 2021 (WHO 2010: 7 mg/m³) |
| `eu-15min`, `eu-8h` | 100, 20 ppm (117, 23 mg/m³) | 15 min, 8 h | Directive (EU) 2017/164, from memory |
| `osha-8h` | 50 ppm | 8 h | OSHA permissible exposure limit |
| `niosh-10h` | 35 ppm | up to 10 h | NIOSH recommended exposure limit |
| `niosh-ceiling` | 200 ppm | at no moment | NIOSH |
| `idlh` | 1,200 ppm | at no moment | NIOSH, immediately dangerous to life or health |

WHO states its limits in mg/m³, here converted at 25 °C and 101,325 Pa.
"""
