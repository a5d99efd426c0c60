"""Emberline's figures of a burn, worked out again from its exported table and its plan, with nothing but numpy.

The equations are those of the Water Boiling Test 4.2.3 (2014, high power, steps 1 to 8) and of ISO 19867-1:2018 (heat
balance; efficiency with and without credit for char), from memory of both documents. They hold for one fill of fuel and
one visit of the pot that ends while the stove flames.

    emberline export last --to burn.csv
    python check_by_hand.py burn.csv plan.toml
"""

# %% What was recorded, and what was known beforehand
import csv
import sys
import tomllib
from pathlib import Path

import numpy as np

TABLE, PLAN = sys.argv[1:3]

with Path(TABLE).open(newline="", encoding="utf-8") as file:
    rows = list(csv.DictReader(file))
plan = tomllib.loads(Path(PLAN).read_text(encoding="utf-8"))


def column(name):
    """Return a column of the table; a blank cell is not known."""
    return np.array([float(row[name] or "nan") for row in rows])


t_s, water_c, fuel_g, water_g = (column(name) for name in ("t_s", "water_c", "fuel_g", "water_g"))
second_of = {kind: at for at, row in enumerate(rows) for kind in row["event"].split()}
lit, pot_on, boil, pot_off, flameout = (second_of[kind] for kind in ("lit", "pot_on", "boil", "pot_off", "flameout"))

# %% Times: whole seconds, since the table has a row a second
burn_time_s = t_s[flameout] - t_s[lit]
time_to_boil_s = t_s[boil] - t_s[max(lit, pot_on)]

# %% Fuel: what the load cell lost, and what was left as char
fuel = plan["fuel"]
moist_g, moisture, starter_g = fuel["mass_g"], fuel["moisture_wet"], fuel["starter_g"]
lhv_dry, lhv_char, lhv_starter = fuel["lhv_dry_j_g"], fuel["char_lhv_j_g"], fuel["starter_lhv_j_g"]
lost_g = fuel_g[lit] - fuel_g[flameout]
char_g = fuel_g[flameout]
burning_rate_g_min = 60.0 * lost_g / burn_time_s

# %% Water: warmed from the pot's first second to its last, and evaporated (4.186 J/(g K) and 2260 J/g, as in the WBT)
first, last = pot_on + 1, pot_off - 1
evaporated_g = water_g[first] - water_g[last]
start_c, end_c = np.median(water_c[pot_on - 10 : pot_on]), np.median(water_c[last - 10 : last])
heat_j = 4.186 * plan["pot"]["water_g"] * (end_c - start_c) + 2260.0 * evaporated_g

# %% Energy of the fuel as fired (ISO 18125: 2443 J evaporate a gram of its moisture at 25 °C), of starter and char
fuel_j = moist_g * ((1.0 - moisture) * lhv_dry - 2443.0 * moisture)
gross_j = fuel_j + starter_g * lhv_starter
net_j = gross_j - char_g * lhv_char

# %% Equivalent dry fuel (WBT, step 2: 2257 J evaporate a gram of its moisture at the boiling point)
air_c, boiling_c = plan["place"]["ambient_c"], np.nanmax(water_c)
drying_j = moist_g * moisture * (4.186 * (boiling_c - air_c) + 2257.0)
equivalent_dry_g = moist_g * (1.0 - moisture) - (drying_j + char_g * lhv_char) / lhv_dry

# %% The figures
figures = {
    "burn_time": burn_time_s,
    "time_to_boil": time_to_boil_s,
    "burning_rate_mean": burning_rate_g_min,
    "char_left": char_g,
    "water_evaporated": evaporated_g,
    "firepower_mean": net_j / burn_time_s,
    "firepower_gross_mean": gross_j / burn_time_s,
    "thermal_efficiency": heat_j / gross_j,
    "thermal_efficiency_char_credit": heat_j / net_j,
    "equivalent_dry_fuel": equivalent_dry_g,
    "burning_rate_equivalent_dry": 60.0 * equivalent_dry_g / burn_time_s,
    "specific_fuel_consumption": 1000.0 * equivalent_dry_g / (plan["pot"]["water_g"] - evaporated_g),
}
for name, value in figures.items():
    print(f"{name},{value:.6g}")
