import tomllib
from collections.abc import Callable

import numpy as np

from emberline_sim.files import plan_text
from emberline_sim.particles.burn import ParticleBurn, draw_setting
from emberline_sim.particles.kinds import KINDS

Make = Callable[..., ParticleBurn]


def test_a_plan_can_be_written(burn: Make) -> None:
    for kind in ("lifted", "bare", "two_scales", "begun_late", "never_lit", "refuelled"):
        plan = tomllib.loads(plan_text(burn(kind)))
        assert plan["fuel"]["mass_g"] > 50.0
        assert ("pot" in plan) == (kind != "bare")


def test_some_people_measure_exactly_and_some_do_not(burn: Make) -> None:
    off = []
    for seed in range(1, 7):
        rng = np.random.default_rng([seed, *b"scale_alone"])
        setting, _, _ = draw_setting(KINDS["scale_alone"], int(rng.integers(2**31)), rng)
        told = burn("scale_alone", seed).scenario.fuel
        assert told is not None
        off.append(abs(told.moisture_wet - setting.charge.moisture_wet))
        assert abs(told.mass_g - setting.charge.mass_g) < 4.0
    assert min(off) < 1e-4
    assert max(off) > 1e-3


def test_the_told_refuels_and_gaps_are_those_of_the_record(burn: Make) -> None:
    one = burn("refuelled")
    assert [r.mass_g for r in one.scenario.refuel] == [e.size_g for e in one.truth.of_kind("refuel")]
    for gap in burn("sparse", 2).scenario.gap:
        t_s = burn("sparse", 2).channels["mass"].t_s
        assert not np.any((t_s >= gap.from_s) & (t_s < gap.to_s))
