"""How long the final analysis takes: one hour of four channels at 10 Hz, in memory, from curves to summary document."""

from dataclasses import dataclass, replace

from benchmarks.accuracy.plain import change_points
from benchmarks.service.timing import in_turns
from emberline.bench.channels import Role
from emberline.bench.plan import parse_plan
from emberline.bench.samples import Curve
from emberline.curves.grid import grid_of
from emberline.trials.analysis import analyse
from emberline.trials.documents import summary_document
from emberline.trials.tracker import Tracked
from emberline_sim.family import random_scenario
from emberline_sim.files import plan_text
from emberline_sim.recording import Recording, record
from emberline_sim.specs import AmbientSpec, FlameProbeSpec, ProbeSpec

SEED = 7
HOUR_S = 3600.0
HZ = 10.0
TIMES = 5


@dataclass(frozen=True, slots=True)
class Pace:
    """Milliseconds of the processor, medians of several runs: of the analysis, and of `ruptures` on the same curves."""

    analysis_ms: float
    plain_ms: float


def hour() -> Recording:
    """Return a burn of one hour whose four channels are read ten times a second."""
    scenario = random_scenario(SEED, "pellets")
    mass = scenario.channels.mass
    channels = replace(
        scenario.channels,
        water=ProbeSpec(rate_hz=HZ),
        flame=FlameProbeSpec(rate_hz=HZ),
        ambient=AmbientSpec(rate_hz=HZ),
        mass=None if mass is None else replace(mass, rate_hz=HZ, every=1),
    )
    return record(replace(scenario, duration_s=HOUR_S, channels=channels))


def measure(times: int = TIMES) -> Pace:
    """Time the final analysis, after a run that nobody times."""
    recording = hour()
    plan = parse_plan(plan_text(recording))
    curves = {Role(role): Curve(one.t_s, one.value) for role, one in recording.channels.items()}
    taken_s = in_turns(
        {
            "analysis": lambda: summary_document(analyse(curves, {}, plan, tracked=Tracked())),
            "plain": lambda: change_points(grid_of(curves)),
        },
        times,
    )
    return Pace(1000.0 * taken_s["analysis"], 1000.0 * taken_s["plain"])
