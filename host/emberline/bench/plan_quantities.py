"""The numbers of a plan: physical ranges, usual slips, and the uncertainty assumed where the plan gives none."""

from collections.abc import Mapping
from types import MappingProxyType

from emberline.bench.toml_reading import Hint, Quantity

_PERCENT = Hint(1.0, 100.0, "a percentage? write 0.11 for 11 %")
_KILOGRAMS = Hint(1e-3, 25.0, "kilograms? this is in grams")
_HEATING_VALUE = (
    Hint(1.0, 1_000.0, "MJ/kg? this is in J/g, 1000 times as much"),
    Hint(1_000.0, 5_000.0, "kcal/kg? this is in J/g, 4.187 times as much"),
    Hint(1e6, 1e8, "J/kg? this is in J/g, a thousandth of it"),
)
_TEMPERATURE = (
    Hint(250.0, 400.0, "kelvin? this is in degrees Celsius"),
    Hint(55.0, 220.0, "degrees Fahrenheit? this is in degrees Celsius"),
)

QUANTITIES: Mapping[str, Quantity] = MappingProxyType(
    {
        # Masses: a kitchen balance that shows 1 g, read twice (common practice, no source).
        "mass_g": Quantity(1.0, 20_000.0, "g", u=0.5, hints=(_KILOGRAMS,)),
        "kindling_g": Quantity(0.0, 2_000.0, "g", u=0.5, zero_is_sure=True),
        "starter_g": Quantity(0.0, 500.0, "g", u=0.5, zero_is_sure=True),
        "char_left_g": Quantity(0.0, 20_000.0, "g", u=0.5),
        "unburnt_g": Quantity(0.0, 20_000.0, "g", u=0.5),
        "tare_g": Quantity(10.0, 30_000.0, "g", u=0.5, hints=(_KILOGRAMS,)),
        "lid_g": Quantity(1.0, 10_000.0, "g", u=0.5, hints=(_KILOGRAMS,)),
        "water_g": Quantity(25.0, 50_000.0, "g", u=0.5, hints=(_KILOGRAMS,)),
        "final_water_g": Quantity(0.0, 50_000.0, "g", u=0.5),
        # A known mass of class M1 up to 1 kg (OIML R 111); what a load cell shows of it, read for some seconds.
        "known_g": Quantity(20.0, 30_000.0, "g", u=0.05, hints=(_KILOGRAMS,)),
        "shown_g": Quantity(15.0, 40_000.0, "g", u=0.3, hints=(_KILOGRAMS,)),
        "shown_after_g": Quantity(15.0, 40_000.0, "g", u=0.3, hints=(_KILOGRAMS,)),
        "zero_drift_g": Quantity(-200.0, 200.0, "g", u=0.3),
        # Moisture: two samples of one lot differ by a point (common practice, no source).
        "moisture_wet": Quantity(0.0, 0.7, "", u=0.01, hints=(_PERCENT,)),
        "moisture_dry": Quantity(0.0, 1.0, "", u=0.01, hints=(_PERCENT,)),
        "kindling_moisture_wet": Quantity(0.0, 0.7, "", u=0.01, hints=(_PERCENT,)),
        "kindling_moisture_dry": Quantity(0.0, 1.0, "", u=0.01, hints=(_PERCENT,)),
        "ash_fraction": Quantity(0.0, 0.5, "", u=0.003, hints=(Hint(0.5, 50.0, "a percentage? write 0.02 for 2 %"),)),
        "hydrogen_fraction": Quantity(
            0.02, 0.15, "", u=0.002, hints=(Hint(1.0, 15.0, "a percentage? write 0.06 for 6 %"),)
        ),
        # Heating values: looked up for the kind of fuel 2 %, of char 5 % (ash); bomb values deserve their own u_.
        "lhv_dry_j_g": Quantity(5_000.0, 45_000.0, "J/g", u_relative=0.02, hints=_HEATING_VALUE),
        "hhv_dry_j_g": Quantity(5_000.0, 48_000.0, "J/g", u_relative=0.015, hints=_HEATING_VALUE),
        "lhv_as_fired_j_g": Quantity(5_000.0, 45_000.0, "J/g", u_relative=0.02, hints=_HEATING_VALUE),
        "char_lhv_j_g": Quantity(10_000.0, 36_000.0, "J/g", u_relative=0.05, hints=_HEATING_VALUE),
        "starter_lhv_j_g": Quantity(10_000.0, 48_000.0, "J/g", u_relative=0.03, hints=_HEATING_VALUE),
        # Times by a wristwatch.
        "char_snuffed_s": Quantity(0.0, 86_400.0, "s", u=10.0),
        "final_water_delay_s": Quantity(0.0, 7_200.0, "s", u=5.0),
        "zero_drift_s": Quantity(60.0, 172_800.0, "s", u=10.0),
        # The pot: by material 5 %, given by a person 5 % as well.
        "heat_capacity_j_k": Quantity(
            5.0, 20_000.0, "J/K", u_relative=0.05, hints=(Hint(0.05, 5.0, "J/(g K)? multiply by the pot's grams"),)
        ),
        # Place: a thermometer in the room; a map's contour; a barometer's or weather station's reading.
        "water_start_c": Quantity(0.0, 99.0, "degC", u=0.5, hints=_TEMPERATURE),
        "ambient_c": Quantity(-40.0, 55.0, "degC", u=0.5, hints=_TEMPERATURE),
        "altitude_m": Quantity(
            -430.0, 6_000.0, "m", u=20.0, hints=(Hint(6_000.0, 20_000.0, "feet? this is in metres"),)
        ),
        "pressure_pa": Quantity(
            45_000.0,
            110_000.0,
            "Pa",
            u=200.0,
            hints=(
                Hint(400.0, 1_100.0, "hPa (mbar)? this is in pascals, 100 times as much"),
                Hint(40.0, 110.0, "kPa? this is in pascals, 1000 times as much"),
                Hint(15.0, 35.0, "inches of mercury? this is in pascals, 3386.4 times as much"),
            ),
        ),
    }
)
"""Range, unit, assumed standard uncertainty and usual slips of every number that a plan may hold, by key."""
