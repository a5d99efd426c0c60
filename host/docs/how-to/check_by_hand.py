"""Emberline's figures of a burn, worked out again from its exported table and its plan, with nothing but numpy.

The equations are those of the Water Boiling Test 4.2.3 (2014, high power, steps 1 to 8) and of ISO 19867-1:2018 (heat
balance; efficiency with and without credit for char), from memory of both documents. They hold for one fill of fuel and
one visit of the pot that begins after lit and ends while the stove flames. Of the table only the scale, the probe and
the seconds of the events are used.

    emberline export last --to burn.csv
    emberline export last --to burn.zip     # has the burn's plan
    python -m zipfile -e burn.zip burn
    python check_by_hand.py burn.csv burn/plan.toml
"""

# %% What was recorded, and what was known beforehand
import csv
import sys
import tomllib
from pathlib import Path

import numpy as np

if len(sys.argv) != 3:
    sys.exit("Name the exported table and the plan: python check_by_hand.py burn.csv plan.toml")
TABLE, PLAN = sys.argv[1:3]

with Path(TABLE).open(newline="", encoding="utf-8") as file:
    rows = list(csv.DictReader(file))
try:
    plan = tomllib.loads(Path(PLAN).read_text(encoding="utf-8"))
except tomllib.TOMLDecodeError:
    sys.exit(f"{PLAN} is no plan in TOML: take the plan.toml out of what `emberline export last --to burn.zip` writes.")
missing = [
    f"{section}.{key}"
    for section, keys in {
        "fuel": ("mass_g", "moisture_wet", "starter_g", "lhv_dry_j_g", "char_lhv_j_g", "starter_lhv_j_g"),
        "pot": ("water_g",),
        "place": ("ambient_c",),
    }.items()
    for key in keys
    if key not in plan.get(section, {})
]
if missing:
    sys.exit(f"{PLAN} says nothing of {', '.join(missing)}, which the equations need.")


def column(name):
    """Return a column of the table; a blank cell is not known."""
    return np.array([float(row[name] or "nan") for row in rows])


t_s, water_c, mass_g = column("t_s"), column("water_c"), column("mass_g")
second_of = {kind: at for at, row in enumerate(rows) for kind in row["event"].split()}
lit, pot_on, boil, pot_off, flameout = (second_of[kind] for kind in ("lit", "pot_on", "boil", "pot_off", "flameout"))

# %% Times: whole seconds, since the table has a row a second
burn_time_s = t_s[flameout] - t_s[lit]
time_to_boil_s = t_s[boil] - t_s[max(lit, pot_on)]


# %% Loads: lines through the seconds before and after, drawn to the moment; the hand on the pot needs some seconds
def step_g(at):
    """Return by how much the scale's load rose at a row."""
    before, after = slice(at - 20, at - 2), slice(at + 4, at + 22)
    lines = [np.polyfit(t_s[part] - t_s[at], mass_g[part], 1) for part in (before, after)]
    return lines[1][1] - lines[0][1]


def scale_g(at):
    """Return what the scale shows at a row, by a line through the ten seconds around it."""
    near = slice(at - 5, at + 6)
    return np.polyfit(t_s[near] - t_s[at], mass_g[near], 1)[1]


# %% Fuel: the pot stands there neither at lit nor at flameout, so the scale tells the loss; what is not lost is char
fuel = plan["fuel"]
moist_g, moisture, starter_g = fuel["mass_g"], fuel["moisture_wet"], fuel["starter_g"]
lhv_dry, lhv_char, lhv_starter = fuel["lhv_dry_j_g"], fuel["char_lhv_j_g"], fuel["starter_lhv_j_g"]
lost_g = scale_g(lit) - scale_g(flameout)
char_g = moist_g + starter_g - lost_g
burning_rate_g_min = 60.0 * lost_g / burn_time_s

# %% Water: warmed, and evaporated by what was set on less what was lifted (4.186 J/(g K) and 2260 J/g, as in the WBT)
evaporated_g = step_g(pot_on) + step_g(pot_off)
start_c, end_c = np.median(water_c[pot_on - 10 : pot_on]), np.median(water_c[pot_off - 10 : pot_off])
heat_j = 4.186 * plan["pot"]["water_g"] * (end_c - start_c) + 2260.0 * evaporated_g

# %% Energy of the fuel as fired (ISO 18125: 2443 J evaporate a gram of its moisture at 25 °C), of starter and char
fuel_j = moist_g * ((1.0 - moisture) * lhv_dry - 2443.0 * moisture)
gross_j = fuel_j + starter_g * lhv_starter
# What is left as the flame dies, and nobody weighed cold, is wood still by some 7 % (ours; the protocols weigh char).
left_j_g = lhv_char - 0.07 * (lhv_char - lhv_dry)
net_j = gross_j - char_g * left_j_g

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
