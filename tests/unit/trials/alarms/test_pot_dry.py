import pytest

from emberline.bench.channels import Role
from emberline.curves.events import EventKind
from emberline.trials.alarms.alarm import Danger, Safe
from emberline.trials.alarms.pot_dry import PotDry
from unit.trials.alarms.looked_at import laid, look, pot, water

CURVES = {Role.MASS: [1_500.0] * 400}


@pytest.mark.parametrize(
    ("lost_g", "filled_g", "danger"),
    [(440.0, 500.0, False), (460.0, 500.0, True), (130.0, 150.0, True), (95.0, 150.0, False), (1_820.0, 2_000.0, True)],
)
def test_little_water_left_by_the_account(lost_g: float, filled_g: float, danger: bool) -> None:
    verdict = PotDry().look(look(CURVES, stays=pot(), left=water(lost_g, filled_g)))
    assert isinstance(verdict, Danger) == danger


def test_the_words_say_how_much_and_how_sure() -> None:
    verdict = PotDry().look(look(CURVES, stays=pot(), left=water(470.0)))
    assert isinstance(verdict, Danger)
    assert verdict.text.startswith("Some 30 ± 20 g of water are left of 500 g")


def test_what_cannot_be_known_raises_nothing() -> None:
    for left in (None, water(490.0, None), water(490.0, u_g=150.0)):
        assert PotDry().look(look(CURVES, stays=pot(), left=left)) is None


def test_a_pot_that_was_lifted_is_nobodys_worry() -> None:
    assert isinstance(PotDry().look(look(CURVES, stays=pot(100, 300), left=water(490.0))), Safe)


def test_water_that_was_added_clears_it_and_a_revised_account_does_not() -> None:
    watch = PotDry()
    assert isinstance(watch.look(look(CURVES, stays=pot(), left=water(470.0))), Danger)
    assert watch.look(look(CURVES, stays=pot(), left=water(350.0))) is None
    added = (laid(300, 250.0),)
    assert isinstance(watch.look(look(CURVES, stays=pot(), left=water(470.0), events=added)), Safe)
    # Fuel is no water.
    fed = (laid(300, 250.0, EventKind.REFUEL),)
    assert isinstance(PotDry().look(look(CURVES, stays=pot(), left=water(470.0), events=fed)), Danger)
