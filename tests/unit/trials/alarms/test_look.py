import math

from emberline.bench.channels import Role
from emberline.trials.alarms.look import grams, middle
from unit.trials.alarms.looked_at import look, pot


def test_recent_values_are_those_that_are_known() -> None:
    one = look({Role.MASS: [1.0, 2.0, math.nan, 4.0]})
    assert one.recent(Role.MASS, 3) == [2.0, 4.0]
    assert one.recent(Role.MASS, 3, 1) == [2.0]
    assert one.recent(Role.MASS, 30, 20) == []
    assert one.recent(Role.FLAME, 3) == []


def test_whether_the_pot_stands() -> None:
    curves = {Role.MASS: [1.0] * 300}
    assert (look(curves).pot_on_s, look(curves).pot_is_off) == (None, False)
    standing = look(curves, stays=pot(100))
    assert (standing.pot_on_s, standing.pot_is_off) == (100.0, False)
    lifted = look(curves, stays=pot(100, 200))
    assert (lifted.pot_on_s, lifted.pot_is_off) == (None, True)
    assert look(curves, stays=pot(100, 200) + pot(250)).pot_on_s == 250.0
    assert look(curves, stays=pot(None, 200)).pot_is_off


def test_the_middle_of_odd_and_even_many() -> None:
    assert middle([3.0, 1.0, 2.0]) == 2.0
    assert middle([4.0, 1.0, 2.0, 3.0]) == 2.5


def test_grams_are_whole_and_nothing_is_never_less_than_nothing() -> None:
    assert (grams(1_755.4), grams(-0.2), grams(-15.3)) == ("1,755 g", "0 g", "\N{MINUS SIGN}15 g")
