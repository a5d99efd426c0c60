"""Files that a person with such a bench would have: readings as CSV, a plan, and (what no person has) the truth."""

import csv
import json
from pathlib import Path

import numpy as np

from emberline_sim.recording import Recording

COLUMNS = {
    "water": "water_c", "flame": "flame_c", "mass": "mass_g", "pot_mass": "pot_mass_g", "ambient": "ambient_c",
    "cell_temperature": "cell_temperature_c", "pressure": "pressure_pa",
}  # fmt: skip
DIGITS = {"c": 4, "g": 3, "pa": 0}


def write_csv(recording: Recording, path: str | Path) -> None:
    """Write all channels into one CSV at the union of their sample times.

    A cell is blank where a channel has no sample at that time and `NaN` where its converter reported a fault. Times are
    seconds with milliseconds; samples of two channels within the same millisecond share a row.
    """
    roles = [role for role in COLUMNS if role in recording.channels]
    rows: dict[int, dict[str, str]] = {}
    for role in roles:
        channel = recording.channels[role]
        digits = DIGITS[channel.unit]
        for t_ms, value in zip(
            np.round(channel.t_s * 1000.0).astype(int).tolist(), channel.value.tolist(), strict=True
        ):
            text = "NaN" if value != value else f"{value:.{digits}f}"
            while role in rows.setdefault(t_ms, {}):
                t_ms += 1
            rows[t_ms][role] = text
    with Path(path).open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["time_s", *(COLUMNS[role] for role in roles)])
        for t_ms in sorted(rows):
            writer.writerow([f"{t_ms / 1000.0:.3f}", *(rows[t_ms].get(role, "") for role in roles)])


def write_plan(recording: Recording, path: str | Path) -> None:
    """Write the plan file for this burn, with exact values of what the person knows."""
    Path(path).write_text(plan_text(recording), encoding="utf-8")


def write_truth(recording: Recording, path: str | Path) -> None:
    """Write the truth as JSON."""
    Path(path).write_text(recording.truth.to_json() + "\n", encoding="utf-8")


def plan_text(recording: Recording) -> str:
    """Return the plan file's text (TOML)."""
    scenario, truth = recording.scenario, recording.truth
    plan, fuel, pot = scenario.plan, scenario.fuel, scenario.pot
    label = plan.label or scenario.title
    lines = ["format = 1", f"label = {_quoted(label)}"]
    if plan.factors:
        pairs = ", ".join(f"{_quoted(key)} = {_quoted(value)}" for key, value in plan.factors.items())
        lines.append(f"factors = {{ {pairs} }}")
    if fuel is not None:
        lines += ["", "[fuel]", f"mass_g = {fuel.mass_g}", f"moisture_wet = {fuel.moisture_wet}"]
        lines += [
            f"lhv_dry_j_g = {fuel.lhv_dry_j_g}",
            f"char_lhv_j_g = {fuel.char_lhv_j_g}",
            f"starter_g = {fuel.starter_g}",
        ]
        if fuel.starter_g > 0.0:
            lines.append(f"starter_lhv_j_g = {fuel.starter_lhv_j_g}")
        if plan.weighs_char and truth.char_left_g is not None and truth.fuel_left_g is not None:
            snuffed_s = scenario.burn.snuffed_after_s or 0.0
            curves = truth.curves
            remains_g = float(curves.fuel_g[-1])
            unburnt_g = truth.unburnt_g or 0.0
            lines += [f"char_left_g = {max(0.0, remains_g - unburnt_g):.2f}", f"char_snuffed_s = {snuffed_s}"]
            lines.append(f"unburnt_g = {unburnt_g:.2f}")
    if pot is not None and truth.stays:
        lines += ["", "[pot]", f"tare_g = {pot.tare_g}", f"heat_capacity_j_k = {pot.heat_capacity_j_k}"]
        lines.append(f"lid = {str(pot.lid).lower()}")
        if pot.lid_g > 0.0:
            lines.append(f"lid_g = {pot.lid_g}")
        if "water" not in recording.channels:
            lines.append(f"water_start_c = {pot.visits[0].water_c}")
        if plan.states_water and len(truth.stays) == 1:
            lines.append(f"water_g = {truth.stays[0].water_start_g}")
        if plan.weighs_water and len(truth.stays) == 1:
            lines += _final_water(recording)
        if plan.states_water and len(truth.stays) > 1:
            for index, stay in enumerate(truth.stays):
                lines += ["", "[[pot.visit]]", f"water_g = {stay.water_start_g}"]
                if plan.weighs_water and index == len(truth.stays) - 1:
                    lines += _final_water(recording)
    place = scenario.place
    lines += ["", "[place]", f"altitude_m = {place.altitude_m}", f"ambient_c = {place.ambient_c}"]
    for refuel in (one for one in scenario.refuel if one.t_s <= truth.curves.t_s[-1]):
        lines += ["", "[[refuel]]", f"mass_g = {refuel.mass_g}", f"moisture_wet = {refuel.moisture_wet}"]
    return "\n".join(lines) + "\n"


def _final_water(recording: Recording) -> list[str]:
    """Return the plan lines of the weighing after the last visit."""
    curves, delay_s = recording.truth.curves, recording.scenario.plan.water_delay_s
    off_s = recording.truth.stays[-1].pot_off_s
    at_s = float(curves.t_s[-1]) if off_s is None else off_s + delay_s
    water_g = float(np.interp(at_s, curves.t_s, curves.water_g))
    start_g = recording.truth.stays[-1].water_start_g
    # Scales round up too, but nobody writes down more than there was.
    lines = [f"final_water_g = {water_g:.2f}" if round(water_g, 2) <= start_g else f"final_water_g = {start_g}"]
    if off_s is not None and delay_s > 0.0:
        lines.append(f"final_water_delay_s = {delay_s}")
    return lines


def _quoted(text: str) -> str:
    # A JSON string's escapes are all known to TOML (1.0.0, section String), which besides wants DEL escaped.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
