from emberline_sim.particles.setting import Deed


def test_a_deed_waits_for_nothing_unless_it_says_so() -> None:
    deed = Deed("bump", 12.0)
    assert deed.after is None
    assert deed.portions == ()
