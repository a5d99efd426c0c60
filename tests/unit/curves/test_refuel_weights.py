"""Steps of the load by the weights of refuels, some of which went in by a handling of the pot."""

import pytest
from uncertainties import ufloat

from emberline.bench.plan import Plan, PotPlan, RefuelPlan, VisitPlan
from emberline.curves.events import EventKind
from emberline.curves.loads import Loads, tell_apart
from emberline.curves.mass_steps import MassStep
from emberline.curves.refuel_weights import by_weights

POT_G = 1400.0


def step(at_s: int, size_g: float) -> MassStep:
    return MassStep(at_s, at_s + 4, ufloat(size_g, 0.3, "mass_step"), abs(size_g), ufloat(at_s + 2.0, 0.3))


def planned(*refuels_g: float | None, lid_g: float | None = None) -> Plan:
    pot = PotPlan(
        tare_g=ufloat(400.0, 0.5),
        lid=lid_g is not None,
        lid_g=None if lid_g is None else ufloat(lid_g, 0.5),
        every=VisitPlan(ufloat(1000.0, 0.5)),
    )
    return Plan(pot=pot, refuels=tuple(RefuelPlan(None if g is None else ufloat(g, 0.1)) for g in refuels_g))


def again(plan: Plan, *steps: MassStep) -> Loads:
    return tell_apart(by_weights(tell_apart(steps, plan, 60.0), plan), plan, 60.0)


def sizes(loads: Loads, kind: EventKind) -> list[float]:
    return [round(e.size_g.nominal_value, 6) for e in loads.events if e.kind is kind and e.size_g is not None]


def test_a_refuel_between_two_others_went_in_as_the_pot_was_lifted() -> None:
    plan = planned(20.0, 25.0, 22.0)
    lifted = step(700, -1305.0 + 25.0)
    loads = again(plan, step(120, POT_G), step(500, 20.2), lifted, step(900, 21.8))
    assert sizes(loads, EventKind.REFUEL) == pytest.approx([20.0, 25.0, 22.0])
    assert sizes(loads, EventKind.POT_OFF) == pytest.approx([-1305.0])
    # Pot and fuel together are what the cell showed, as surely as it did.
    both = [one.size_g for one in loads.steps if one.start_s == lifted.start_s]
    assert len(both) == 2
    assert sum(both).std_dev == pytest.approx(0.3)
    assert sum(both).nominal_value == pytest.approx(-1280.0)


def test_what_a_refuel_lacks_went_in_with_the_pot_beside_it() -> None:
    loads = again(planned(57.5), step(120, POT_G), step(700, -1300.0 + 20.0), step(712, 37.5))
    assert sizes(loads, EventKind.POT_OFF) == pytest.approx([-1300.0])
    assert sizes(loads, EventKind.REFUEL) == pytest.approx([57.5])


def test_what_a_refuel_lacks_went_in_as_the_lid_was_taken_off() -> None:
    plan = planned(68.0, lid_g=84.0)
    loads = again(plan, step(120, POT_G + 84.0), step(400, -84.0 + 34.0), step(407, 34.0))
    assert sizes(loads, EventKind.STEP) == pytest.approx([-84.0])
    assert sizes(loads, EventKind.REFUEL) == pytest.approx([68.0])


def test_a_tug_beside_a_small_refuel_is_no_lid() -> None:
    plan = planned(68.0, lid_g=84.0)
    steps = (step(120, POT_G), step(400, -12.0), step(407, 48.0))
    assert by_weights(tell_apart(steps, plan, 60.0), plan) == steps


def test_a_weighed_refuel_weighs_what_was_weighed_in_all_its_handfuls() -> None:
    plan = planned(49.7)
    steps = by_weights(tell_apart((step(120, POT_G), step(500, 12.0), step(508, 36.0)), plan, 60.0), plan)
    handfuls = [one.size_g for one in steps[1:]]
    assert [size_g.nominal_value for size_g in handfuls] == pytest.approx([49.7 / 4.0, 49.7 * 3.0 / 4.0])
    assert sum(handfuls).std_dev == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("plan", "steps"),
    [
        # Nobody saw the refuel before it, so it may have come before the record.
        (planned(25.0, 22.0), (step(120, POT_G), step(700, -1280.0), step(900, 22.0))),
        # It may have come in the one or in the other handling.
        (
            planned(20.0, 25.0, 22.0),
            (step(120, POT_G), step(500, 20.0), step(700, -1280.0), step(760, 1300.0), step(900, 22.0)),
        ),
        # Not all refuels were weighed.
        (planned(20.0, None, 22.0), (step(120, POT_G), step(500, 20.0), step(700, -1280.0), step(900, 22.0))),
        (planned(), (step(120, POT_G), step(700, -1280.0))),
    ],
)
def test_where_it_cannot_be_told_nothing_is_uncovered(plan: Plan, steps: tuple[MassStep, ...]) -> None:
    told = by_weights(tell_apart(steps, plan, 60.0), plan)
    sizes_g = [one.size_g.nominal_value for one in told]
    assert sizes_g == pytest.approx([one.size_g.nominal_value for one in steps])
