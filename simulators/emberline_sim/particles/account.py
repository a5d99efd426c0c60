"""What truly happened, as events, masses and energies of the part of a burn that was recorded.

Times are seconds of the record. What happened before it began is no event of it; sums from lighting on are None then.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline_sim.particles.history import DARK_S, STEP_S, History
from emberline_sim.particles.setting import Setting
from emberline_sim.truth import TrueCurves, TrueEvent, TrueStay, Truth

SUSTAINED_S = 10.0


@dataclass(frozen=True, slots=True)
class Flames:
    """When a flame burnt: the end of the last sustained one, and the stretches without one before it."""

    out_s: float | None
    dark: tuple[tuple[float, float], ...]


def flames_of(t_s: NDArray[np.float64], flame: NDArray[np.bool_]) -> Flames:
    """Find when visible flame burnt.

    A flame that is away for 10 s or less has not gone, and one that returns for 10 s or less has not come back.
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flame, [False])).astype(np.int8)))
    runs: list[list[int]] = []
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if runs and (first - runs[-1][1]) * STEP_S <= DARK_S:
            runs[-1][1] = end
        else:
            runs.append([first, end])
    lasting = [run for run in runs if (run[1] - run[0]) * STEP_S > SUSTAINED_S]
    if not lasting:
        return Flames(None, ())
    dark = tuple((float(t_s[a[1] - 1]), float(t_s[b[0] - 1])) for a, b in itertools.pairwise(lasting))
    end = lasting[-1][1]
    left_s = (len(t_s) - end) * STEP_S
    return Flames(float(t_s[end - 1]) if left_s > DARK_S else None, dark)


def truth_of(setting: Setting, history: History, flames: Flames, ends_s: float) -> Truth:
    """Work out the truth of a record from `setting.begins_s` to `ends_s`."""
    begins_s, column = setting.begins_s, history.column
    out_s = flames.out_s if flames.out_s is not None and begins_s < flames.out_s <= ends_s else None
    stays = _stays(setting, history, out_s, ends_s)
    burn: dict[str, float | None] = dict.fromkeys(_BURN_KEYS)
    if out_s is not None and history.lit_s is not None:
        burn |= _burn(setting, history, history.lit_s, out_s)
    evaporated_g = history.at("evaporated_g", ends_s) - history.at("evaporated_g", begins_s)
    dark = tuple((a - begins_s, b - begins_s) for a, b in flames.dark if a > begins_s and b < ends_s)
    return Truth(
        events=_events(setting, history, out_s, ends_s),
        dark=dark,
        boiling_point_c=history.boiling_c,
        water_evaporated_g=evaporated_g,
        heat_into_water_j=sum(stay.heat_into_water_j for stay in stays),
        stays=stays,
        curves=_curves(column, history.t_s, begins_s, ends_s),
        **burn,
    )


_BURN_KEYS = (
    "fuel_burned_g", "fuel_mass_lost_g", "fuel_left_g", "char_left_g", "unburnt_g", "char_burned_g", "char_yield",
    "heat_released_j", "burning_rate_mean_g_min", "firepower_mean_w", "volatiles_at_flameout",
)  # fmt: skip
_FROM_LIGHTING = (
    "fuel_burned_g", "fuel_mass_lost_g", "char_burned_g", "heat_released_j", "burning_rate_mean_g_min",
    "firepower_mean_w",
)  # fmt: skip


def _burn(setting: Setting, history: History, lit_s: float, out_s: float) -> dict[str, float | None]:
    column = history.column
    fuel_in_g = sum(mass_g for t_s, mass_g, _ in history.fuel_in if t_s <= out_s)
    dry_in_g = sum(dry_g for t_s, _, dry_g in history.fuel_in if t_s <= out_s)
    left_g, raw_g = history.at("fuel_g", out_s), history.at("raw_g", out_s)
    minutes = (out_s - lit_s) / 60.0
    released_j = history.at("released_j", out_s) - history.at("released_j", lit_s)
    starter_g = setting.starter_g - history.at("starter_g", out_s)
    first, last = round(lit_s / STEP_S), round(out_s / STEP_S)
    lost_g = fuel_in_g - left_g
    sums: dict[str, float | None] = {
        "fuel_burned_g": fuel_in_g - raw_g,
        "fuel_mass_lost_g": lost_g,
        "fuel_left_g": left_g,
        "char_left_g": left_g - raw_g,
        "unburnt_g": raw_g,
        "char_burned_g": float(np.sum(column["glow_g_s"][: last + 1])) * STEP_S,
        "char_yield": (left_g - raw_g) / (dry_in_g - history.at("raw_dry_g", out_s)),
        "heat_released_j": released_j,
        "burning_rate_mean_g_min": (lost_g + starter_g) / minutes,
        "firepower_mean_w": released_j / (60.0 * minutes),
        "volatiles_at_flameout": history.at("volatiles_g_s", out_s)
        / float(np.mean(column["volatiles_g_s"][first:last])),
    }
    if lit_s < setting.begins_s:
        sums |= dict.fromkeys(_FROM_LIGHTING)
    return sums


def _stays(setting: Setting, history: History, out_s: float | None, ends_s: float) -> tuple[TrueStay, ...]:
    begins_s = setting.begins_s
    stays = []
    for stay in history.stays:
        on_s, off_s = max(begins_s, stay.on_s), stay.off_s
        if on_s >= ends_s or (off_s is not None and off_s <= begins_s):
            continue
        off_s = None if off_s is None or off_s > ends_s else off_s
        left_s = ends_s if off_s is None else off_s
        window_s = max(on_s, min(left_s, ends_s if out_s is None else out_s))
        boil_s = stay.boil_s if stay.boil_s is not None and begins_s < stay.boil_s <= ends_s else None

        def gain(name: str, to_s: float, from_s: float = on_s) -> float:
            return history.at(name, to_s) - history.at(name, from_s)

        stays.append(
            TrueStay(
                on_s - begins_s,
                None if boil_s is None else boil_s - begins_s,
                None if off_s is None else off_s - begins_s,
                stay.water_g if stay.on_s >= begins_s else history.at("water_g", on_s),
                gain("evaporated_g", left_s),
                gain("into_water_j", window_s),
                gain("released_j", window_s),
            )
        )
    return tuple(stays)


def _events(setting: Setting, history: History, out_s: float | None, ends_s: float) -> tuple[TrueEvent, ...]:
    begins_s, counted = setting.begins_s, not setting.pot_beside
    events = [] if history.lit_s is None else [TrueEvent("lit", history.lit_s, None, "match put to it")]
    for done in history.done:
        deed = done.deed
        match deed.kind:
            case "pot_on" | "pot_off":
                events.append(TrueEvent(deed.kind, done.t_s, done.size_g if counted else None))
            case "refuel":
                middle_s = done.t_s + 0.5 * deed.portions[-1][0]
                events.append(TrueEvent("refuel", middle_s, done.size_g, f"{len(deed.portions)} portions"))
            case "lid_on" | "lid_off":
                events.append(TrueEvent("step", done.t_s, done.size_g if counted else None, deed.kind))
            case "poke" | "bump" | "tug":
                events.append(TrueEvent("step", done.t_s, done.size_g, deed.kind))
            case _:
                pass
    for stay in history.stays:
        if stay.boil_s is not None:
            events.append(TrueEvent("boil", stay.boil_s, None, "more heat leaves as steam than warms the water"))
        if stay.on_s <= begins_s < (ends_s if stay.off_s is None else stay.off_s) and begins_s > 0.0:
            events.append(TrueEvent("pot_on", begins_s, None, "stood there before the record began"))
    if out_s is not None:
        events.append(TrueEvent("flameout", out_s, None, "end of sustained visible flame"))
    inside = [event for event in events if begins_s <= event.t_s <= ends_s]
    shifted = [TrueEvent(event.kind, event.t_s - begins_s, event.size_g, event.note) for event in inside]
    return tuple(sorted(shifted, key=lambda event: event.t_s))


def _curves(
    column: dict[str, NDArray[np.float64]], t_s: NDArray[np.float64], begins_s: float, ends_s: float
) -> TrueCurves:
    at_s = np.arange(begins_s, ends_s + 1e-9, 1.0)
    rows = np.clip(np.round(at_s / STEP_S).astype(int) - 1, 0, len(t_s) - 1)
    lost = (column["volatiles_g_s"] + column["glow_g_s"] + column["starter_g_s"]) * 60.0

    def mean(values: NDArray[np.float64]) -> NDArray[np.float64]:
        # The second around a moment is made of the step that ends then and the next.
        after = np.concatenate((values[1:], values[-1:]))
        return np.asarray((0.5 * (values + after))[rows], dtype=np.float64)

    return TrueCurves(
        t_s=at_s - begins_s,
        fuel_g=column["fuel_g"][rows],
        char_g=column["char_g"][rows],
        water_g=column["water_g"][rows],
        burning_rate_g_min=mean(lost),
        firepower_w=mean(column["firepower_w"]),
        water_c=column["bulk_c"][rows],
        flame_power_w=mean(column["flame_w"]),
    )
