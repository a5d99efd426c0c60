import pytest

from emberline_sim.trial_specs import PotSpec, VisitSpec
from emberline_sim.visits import Visits


def run(visits: Visits, until_s: float, power_w: float) -> None:
    for i in range(round(until_s / 0.5)):
        visits.turn(0.5 * i)
        visits.step(0.5 * i, 0.5, power_w, 20.0, 0.0)


def test_pot_goes_on_boils_and_is_lifted_after_the_boil() -> None:
    visits = Visits(PotSpec(visits=(VisitSpec(30.0, off_after_boil_s=60.0),)), 101325.0, 0.5)
    run(visits, 900.0, 800.0)
    (visit,) = visits.past
    assert visit.on_s == pytest.approx(30.0)
    assert visit.boil_s is not None
    assert visit.off_s == pytest.approx(visit.boil_s + 60.0)
    assert not visits.on


def test_the_earlier_of_two_ends_lifts_it() -> None:
    visits = Visits(PotSpec(visits=(VisitSpec(30.0, off_s=200.0, off_after_boil_s=60.0),)), 101325.0, 0.5)
    run(visits, 900.0, 300.0)
    assert visits.past[0].off_s == pytest.approx(200.0)
    assert visits.past[0].boil_s is None


def test_each_visit_brings_fresh_water() -> None:
    spec = PotSpec(visits=(VisitSpec(10.0, off_s=300.0), VisitSpec(400.0, water_g=350.0, water_c=12.0)))
    visits = Visits(spec, 101325.0, 0.5)
    run(visits, 400.5, 600.0)
    assert visits.on
    assert visits.pot.water_g == pytest.approx(350.0, abs=0.1)
    assert visits.pot.upper_c == pytest.approx(12.0, abs=0.5)
    assert len(visits.past) == 2


def test_lids_are_moved_at_their_times() -> None:
    visits = Visits(PotSpec(lid=True, visits=(VisitSpec(10.0),)), 101325.0, 0.5, ((60.0, False), (90.0, True)))
    run(visits, 61.0, 500.0)
    assert not visits.pot.lid
    run(visits, 91.0, 500.0)
    assert visits.pot.lid


def test_a_pot_not_yet_set_on_waits_unchanged() -> None:
    visits = Visits(PotSpec(visits=(VisitSpec(500.0),)), 101325.0, 0.5)
    run(visits, 400.0, 800.0)
    assert visits.pot.bulk_c == 17.0
    assert visits.pot.water_g == 500.0
