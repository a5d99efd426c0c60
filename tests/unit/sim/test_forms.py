from emberline_sim.forms import FORMS


def test_forms_differ_as_their_particles_do() -> None:
    assert FORMS["pellets"].unevenness < FORMS["chips"].unevenness < FORMS["sticks"].unevenness
    assert FORMS["pellets"].particle_s < FORMS["pieces"].particle_s
    assert FORMS["sticks"].rate_g_min > FORMS["pellets"].rate_g_min
    assert FORMS["pieces"].char_yield > FORMS["chips"].char_yield > FORMS["sticks"].char_yield
