import pytest

from emberline_sim.course import run_course
from emberline_sim.errors import ScenarioError
from emberline_sim.family import FAMILIES, random_scenario
from emberline_sim.truth import truth_of


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_members_burn_out_within_their_record(family: str) -> None:
    scenario = random_scenario(3, family)
    course = run_course(scenario)
    assert course.flameout_s is not None
    assert course.flameout_s < scenario.duration_s - 120.0
    truth = truth_of(scenario, course)
    assert truth.volatiles_at_flameout is not None
    assert 0.03 < truth.volatiles_at_flameout < 0.3


def test_the_same_seed_gives_the_same_member_and_another_seed_another() -> None:
    assert random_scenario(1, "chips") == random_scenario(1, "chips")
    assert random_scenario(1, "chips") != random_scenario(2, "chips")


def test_families_keep_their_promises() -> None:
    for seed in range(20):
        assert random_scenario(seed, "refuelled").refuel
        assert random_scenario(seed, "no_flame_probe").channels.flame is None
        assert random_scenario(seed, "mass_only").channels.water is None
        assert random_scenario(seed, "high").place.altitude_m >= 2000.0
        assert random_scenario(seed, "relit").burn.relit_s is not None
        pot = random_scenario(seed, "two_fillings").pot
        assert pot is not None
        assert len(pot.visits) == 2


def test_a_refuel_and_the_pot_are_not_handled_at_once() -> None:
    for seed in range(30):
        scenario = random_scenario(seed, "refuelled")
        assert scenario.pot is not None
        (visit,) = scenario.pot.visits
        assert visit.off_s is not None
        for refuel in scenario.refuel:
            assert refuel.t_s - visit.on_s >= 89.9
            assert abs(refuel.t_s - visit.off_s) >= 45.0
        assert visit.on_s > scenario.burn.lit_s


def test_an_unknown_family_is_refused() -> None:
    with pytest.raises(ScenarioError, match="known: pellets"):
        random_scenario(1, "peat")
