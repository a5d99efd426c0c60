"""One burn of the second simulator, recorded: what sensors showed, what a person wrote down, what truly happened."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from emberline_sim.errors import ScenarioError
from emberline_sim.particles.account import flames_of, truth_of
from emberline_sim.particles.benches import Bench, draw_bench
from emberline_sim.particles.drawing import Stove, draw_place, draw_stove, draw_vessel
from emberline_sim.particles.habits import Plot, draw_plot
from emberline_sim.particles.history import STEP_S, History
from emberline_sim.particles.kinds import KINDS, Kind
from emberline_sim.particles.mishaps import NONE, Mishaps
from emberline_sim.particles.results import results_of
from emberline_sim.particles.running import run
from emberline_sim.particles.scale import ScaleSense, air_force_g, fuel_load_g, hand_force_g, pot_load_g, read_scale
from emberline_sim.particles.senses import read_flame, read_water, sample_times_s
from emberline_sim.particles.setting import Setting
from emberline_sim.particles.told import told_scenario
from emberline_sim.recording import UNITS, ChannelRecord, Recording

ETHANOL_J_G = 26800.0
CELL_WARMS_S = 1500.0
LONGEST_S = 5400.0

Column = tuple[str, NDArray[np.float64], NDArray[np.float64]]


@dataclass(frozen=True, slots=True, eq=False)
class ParticleBurn(Recording):
    """A recording whose `scenario` holds what a person believed and wrote down, not always exactly.

    Attributes:
        kind: Name of its kind.
        results: True values of results, by their names in the summary; what does not exist is missing.

    """

    kind: str
    results: dict[str, float]


def random_burn(seed: int, kind: str | None = None, mishaps: Mishaps = NONE) -> ParticleBurn:
    """Draw a burn and record it; the same seed and kind give the same burn.

    Args:
        seed: Seed of everything.
        kind: One of `KINDS`; by default the seed chooses.
        mishaps: What goes wrong.

    Raises:
        ScenarioError: The kind is unknown.

    """
    names = list(KINDS)
    if kind is None:
        kind = names[int(np.random.default_rng([seed, 3]).integers(len(names)))]
    if kind not in KINDS:
        raise ScenarioError(f"unknown kind {kind!r}; known: {', '.join(names)}")
    rng = np.random.default_rng([seed, *kind.encode()])
    what = KINDS[kind]
    setting, stove, plot = draw_setting(what, int(rng.integers(2**31)), rng)
    setting = mishaps.of_setting(setting)
    history = run(setting)
    flames = flames_of(history.t_s, history.column["flame"] > 0.5)
    ends_s = float(np.floor(history.t_s[-1]))
    bench = mishaps.of_bench(draw_bench(what, ends_s - setting.begins_s, rng))
    truth = truth_of(setting, history, flames, ends_s)
    readings = _readings(setting, stove, history, bench, ends_s, mishaps)
    channels = {name: ChannelRecord(name, UNITS[name], t_s, value) for name, t_s, value in readings}
    scenario = told_scenario(f"{kind} {seed}", seed, setting, stove, plot, bench, history, truth, rng)
    return ParticleBurn(scenario, channels, truth, kind, results_of(setting, history, truth))


def draw_setting(kind: Kind, seed: int, rng: np.random.Generator) -> tuple[Setting, Stove, Plot]:
    """Draw all that is true of a burn before it begins."""
    stove = draw_stove(kind, rng)
    place = draw_place(kind, rng)
    vessel = draw_vessel(kind, stove, rng) if kind.pot != "none" else None
    plot = draw_plot(kind, stove, vessel, place.ambient_c, rng)
    never = kind.course == "never_lit"
    setting = Setting(
        seed=seed,
        nature=stove.nature,
        charge=stove.charge,
        hearth=stove.hearth,
        burner=stove.burner,
        starter_g=stove.starter_g,
        starter_lhv_j_g=ETHANOL_J_G,
        lighter_s=stove.lighter_s,
        vessel=vessel,
        pot_beside="pot_mass" in kind.channels,
        place=place,
        deeds=plot.deeds,
        wander=float(rng.uniform(0.03, 0.14)),
        tail_s=plot.tail_s,
        least_s=plot.least_s,
        most_s=round(plot.least_s) if never else LONGEST_S,
        begins_s=plot.begins_s,
    )
    return replace(setting, starter_g=0.0) if never else setting, stove, plot


def _readings(
    setting: Setting, stove: Stove, history: History, bench: Bench, ends_s: float, mishaps: Mishaps
) -> Iterator[Column]:
    begins_s = setting.begins_s
    duration_s = ends_s - begins_s

    def chance(part: str) -> np.random.Generator:
        return np.random.default_rng([setting.seed, *part.encode()])

    if bench.water is not None:
        t_s = sample_times_s(duration_s, bench.water.sampling, chance("water times"))
        yield "water", t_s, read_water(t_s, history, begins_s, bench.water, chance("water"))
    if bench.flame is not None:
        t_s = sample_times_s(duration_s, bench.flame.sampling, chance("flame times"))
        yield "flame", t_s, read_flame(t_s, history, begins_s, bench.flame, chance("flame"))
    pot = setting.vessel
    for name, sense in (("mass", bench.mass), ("pot_mass", bench.pot_mass)):
        if sense is None:
            continue
        t_s = sample_times_s(duration_s, sense.sampling, chance(f"{name} times"))
        at_s = t_s + begins_s
        pot_g = np.zeros(len(t_s))
        if pot is not None and setting.pot_beside == (name == "pot_mass"):
            pot_g = pot_load_g(at_s, history, pot.tare_g, pot.lid_g, chance("pot hands"))
        load_g = pot_g.copy()
        if name == "mass":
            load_g += stove.stove_g + fuel_load_g(at_s, history, chance("fuel"))
            hands = chance("hands")
            for done in history.done:
                load_g += hand_force_g(at_s, done, hands)
            load_g = mishaps.of_load(t_s, load_g)
        yield name, t_s, _weighed(name, at_s, load_g, pot_g, setting, stove, history, sense, chance(name))
    if bench.ambient is not None:
        t_s = sample_times_s(duration_s, bench.ambient, chance("ambient times"))
        air = np.interp(t_s + begins_s, history.t_s, history.column["air_c"])
        step = bench.ambient.step
        yield "ambient", t_s, np.round((air + chance("ambient").normal(0.0, 0.06, len(t_s))) / step) * step


def _weighed(
    name: str, at_s: NDArray[np.float64], load_g: NDArray[np.float64], pot_g: NDArray[np.float64], setting: Setting,
    stove: Stove, history: History, sense: ScaleSense, rng: np.random.Generator,
) -> NDArray[np.float64]:  # fmt: skip
    under_stove = name == "mass"
    airy = sense if under_stove else replace(sense, hot_litres=0.0)
    load_g = load_g + air_force_g(at_s, history, airy, rng)
    keep = float(np.exp(-STEP_S / CELL_WARMS_S))
    excess = (history.column["wall_c"] - history.column["air_c"]) / 300.0
    warming, _ = lfilter([1.0 - keep], [1.0, -keep], excess, zi=[0.0])
    heat = np.interp(at_s, history.t_s, np.asarray(warming))
    stove_g = stove.stove_g if under_stove else 0.0
    return read_scale(at_s, setting.begins_s, load_g, pot_g, heat - heat[0], stove_g, sense, rng)
