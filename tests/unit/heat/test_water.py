import pytest
from uncertainties import ufloat

from emberline.heat.errors import AbsentError
from emberline.heat.water import corrected_for_rise, effective_water_g, heat_into_water_j, refuse_impossible_loss


def test_heat_warms_all_of_the_water_and_evaporates_what_left() -> None:
    assert heat_into_water_j(500.0, 20.0, 100.0, 50.0) == pytest.approx(500 * 80 * 4.186 + 50 * 2260)


def test_constants_of_another_protocol_may_be_given() -> None:
    assert heat_into_water_j(500.0, 20.0, 100.0, 0.0, heat_capacity_j_gk=4.18) == pytest.approx(500 * 80 * 4.18)


def test_heat_may_be_all_evaporation() -> None:
    # A low-power phase that begins at the boil and ends a little below it.
    assert heat_into_water_j(500.0, 97.5, 96.0, 50.0) == pytest.approx(-1.5 * 500 * 4.186 + 50 * 2260)


def test_water_that_left_hot_took_its_warmth_along() -> None:
    # Second by second: 400 g warm to 90 °C, 100 g leave there, and 300 g cool to 60 °C.
    by_steps = 400.0 * 70.0 * 4.186 + 100.0 * 2260.0 - 300.0 * 30.0 * 4.186
    assert heat_into_water_j(400.0, 20.0, 60.0, 100.0, evaporates_at_c=90.0) == pytest.approx(by_steps)
    assert heat_into_water_j(400.0, 20.0, 90.0, 100.0, evaporates_at_c=90.0) == heat_into_water_j(
        400.0, 20.0, 90.0, 100.0
    )


@pytest.mark.parametrize(
    ("start_g", "start_c", "end_c", "evaporated_g"),
    [(0.0, 20.0, 100.0, 0.0), (500.0, 20.0, 20.0, 0.0), (500.0, 30.0, 20.0, 0.0), (500.0, 20.0, 100.0, -1.0)],
)
def test_impossible_heats_are_refused(start_g: float, start_c: float, end_c: float, evaporated_g: float) -> None:
    with pytest.raises(AbsentError):
        heat_into_water_j(start_g, start_c, end_c, evaporated_g)


def test_gain_of_water_within_its_noise_is_no_error() -> None:
    refuse_impossible_loss(ufloat(500.0, 0.5), ufloat(-1.0, 1.2))
    with pytest.raises(AbsentError, match="gained"):
        refuse_impossible_loss(ufloat(500.0, 0.5), ufloat(-3.0, 1.2))
    with pytest.raises(AbsentError, match="more water"):
        refuse_impossible_loss(ufloat(500.0, 0.5), ufloat(504.0, 1.2))


def test_probe_bias_cancels_in_the_heat() -> None:
    bias = ufloat(0.0, 2.0)
    assert heat_into_water_j(500.0, 20.0 + bias, 99.0 + bias, 0.0).std_dev == pytest.approx(0.0, abs=1e-9)


def test_effective_water_is_what_is_left_at_the_boil() -> None:
    assert effective_water_g(450.0, 20.0, 100.0, 100.0) == pytest.approx(450.0)
    assert effective_water_g(450.0, 20.0, 60.0, 100.0) == pytest.approx(225.0)


@pytest.mark.parametrize(
    ("left_g", "start_c", "end_c"), [(0.0, 20.0, 100.0), (450.0, 99.5, 99.6), (450.0, 20.0, 20.0), (450.0, 30.0, 20.0)]
)
def test_impossible_effective_water_is_refused(left_g: float, start_c: float, end_c: float) -> None:
    with pytest.raises(AbsentError):
        effective_water_g(left_g, start_c, end_c, 99.5)


def test_correction_refers_to_a_rise_of_75_kelvin() -> None:
    assert corrected_for_rise(400.0, 25.0, 100.0) == pytest.approx(400.0)
    assert corrected_for_rise(400.0, 20.0, 99.0) == pytest.approx(400.0 * 75 / 79)
    with pytest.raises(AbsentError):
        corrected_for_rise(400.0, 99.0, 99.0)


def test_what_left_colder_than_the_end_changes_nothing_of_the_protocols_sum() -> None:
    plain = heat_into_water_j(1000.0, 20.0, 99.0, 50.0)
    assert heat_into_water_j(1000.0, 20.0, 99.0, 50.0, evaporates_at_c=95.0) == plain
