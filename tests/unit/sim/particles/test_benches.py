import numpy as np

from emberline_sim.particles.benches import Bench, draw_bench
from emberline_sim.particles.kinds import KINDS


def benches(name: str) -> list[Bench]:
    return [draw_bench(KINDS[name], 1500.0, np.random.default_rng(seed)) for seed in range(30)]


def test_a_kind_fits_its_channels() -> None:
    for bench in benches("scale_alone"):
        assert bench.mass is not None
        assert bench.water is None
        assert bench.flame is None
        assert bench.pot_mass is None
    assert all(bench.pot_mass is not None for bench in benches("two_scales"))
    flames = sum(bench.flame is not None for bench in benches("lifted"))
    assert 10 < flames < 30


def test_gaps_lie_inside_the_record() -> None:
    found = [gap for bench in benches("sparse") for gap in bench.gaps]
    assert found
    assert all(20.0 <= from_s < to_s < 1500.0 for from_s, to_s in found)


def test_sensors_break_in_every_way_and_only_where_they_should() -> None:
    broken = [sense.spoilt for b in benches("spoilt") for sense in (b.water, b.flame, b.mass) if sense is not None]
    assert {one.kind for spoilt in broken for one in spoilt} >= {"open", "short", "stuck", "wild"}
    assert all(not b.water.spoilt for b in benches("lifted") if b.water is not None)


def test_loops_and_clocks_both_occur() -> None:
    rhythms = {bench.mass.sampling.rhythm for bench in benches("lifted") if bench.mass is not None}
    assert rhythms == {"clock", "loop"}
