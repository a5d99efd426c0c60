import numpy as np
import pytest

from emberline_sim.particles.drawing import FORM_RANGES, draw_place, draw_stove, draw_vessel
from emberline_sim.particles.kinds import KINDS


def test_stoves_are_small_and_fuels_are_wood() -> None:
    rng = np.random.default_rng(1)
    forms = set()
    for _ in range(60):
        stove = draw_stove(KINDS["lifted"], rng)
        forms.add(stove.form)
        assert 0.07 <= stove.hearth.bore_m <= 0.14
        # Net calorific values of dry pine wood: Energies 15(4) 1442 (2022), appendix A.
        assert 17500.0 <= stove.nature.lhv_dry_j_g <= 19880.0
        assert 3.0 < stove.rate_g_s * 60.0 < 40.0
        assert stove.power_w == pytest.approx(stove.rate_g_s * 13200.0)
        # Critical mass fluxes of wood lie between 1 and 4 g/(m2 s).
        assert 1.0 <= stove.burner.critical_g_m2s <= 4.0
    assert forms == set(FORM_RANGES)


def test_a_kind_shapes_what_is_drawn() -> None:
    rng = np.random.default_rng(2)
    for _ in range(10):
        stove = draw_stove(KINDS["damp"], rng)
        assert stove.charge.moisture_wet >= 0.20
        assert draw_place(KINDS["highland"], rng).altitude_m >= 1800.0
        assert draw_place(KINDS["blustery"], rng).wind_m_s >= 0.9
        assert draw_vessel(KINDS["lidded"], stove, rng).lid_g > 0.0
        weak, usual = draw_vessel(KINDS["stalls"], stove, rng), draw_vessel(KINDS["lifted"], stove, rng)
        assert weak.transfer_units < usual.transfer_units
