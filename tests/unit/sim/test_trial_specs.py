from emberline_sim.trial_specs import FuelSpec, PlanSpec, PotSpec


def test_defaults_are_a_plain_trial() -> None:
    assert FuelSpec("chips", 100.0).char_yield is None
    assert PotSpec().visits == ()
    assert PlanSpec().factors == {}
    assert PlanSpec().factors is not PlanSpec().factors
