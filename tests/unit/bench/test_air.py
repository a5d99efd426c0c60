import numpy as np
import pytest
from uncertainties import ufloat

from emberline.bench.air import (
    Place,
    boiling_point,
    boiling_point_basis,
    boiling_point_c,
    in_highlands,
    pressure_at_altitude_pa,
    saturation_pressure_pa,
)
from emberline.bench.errors import OutOfRangeError


def test_saturation_line_there_and_back() -> None:
    t_c = np.linspace(1.0, 150.0, 300)
    assert boiling_point_c(saturation_pressure_pa(t_c)) == pytest.approx(t_c, abs=1e-5)


def test_floats_give_floats() -> None:
    for value in (boiling_point_c(1e5), saturation_pressure_pa(90.0), pressure_at_altitude_pa(500.0)):
        assert type(value) is float


def test_what_no_place_has_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="a pressure of 100 Pa"):
        boiling_point_c(100.0)
    with pytest.raises(OutOfRangeError, match="an altitude of 20000 m"):
        pressure_at_altitude_pa(20_000.0)
    with pytest.raises(OutOfRangeError, match="a water temperature"):
        saturation_pressure_pa(np.array([50.0, -3.0]))


def test_station_pressure_comes_before_altitude() -> None:
    place = Place(altitude_m=ufloat(3000.0, 20.0), pressure_pa=ufloat(101_325.0, 200.0))
    boil_c = boiling_point(place)
    assert boil_c.n == pytest.approx(99.97, abs=0.01)
    assert boil_c.s == pytest.approx(0.055, abs=0.002)
    assert boiling_point_basis(place) == "station pressure 1013 hPa"


def test_altitude_alone_leaves_the_weather() -> None:
    boil_c = boiling_point(Place(altitude_m=ufloat(1500.0, 20.0)))
    assert boil_c.n == pytest.approx(94.98, abs=0.01)
    assert 0.40 < boil_c.s < 0.52
    assert "1500 m" in boiling_point_basis(Place(altitude_m=ufloat(1500.0, 20.0)))


def test_an_uncertain_altitude_counts() -> None:
    near, far = (boiling_point(Place(altitude_m=ufloat(500.0, u))).s for u in (20.0, 400.0))
    # 400 m are 1.33 K by the rule of 300 m to the kelvin.
    assert (far**2 - near**2) ** 0.5 == pytest.approx(1.33, rel=0.05)


def test_nothing_known_is_wide_and_says_so() -> None:
    boil_c = boiling_point(Place())
    assert boil_c.n == pytest.approx(99.0, abs=0.1)
    assert 0.6 < boil_c.s < 0.8
    assert "neither pressure nor altitude" in boiling_point_basis(Place())


def test_a_high_place_that_the_water_tells_of_says_so() -> None:
    high = in_highlands(Place(ambient_c=ufloat(12.0, 1.0)))
    # 93.9 °C at 1,800 m, and 300 m to the kelvin: 693 m are 2.3 K.
    assert boiling_point(high).n == pytest.approx(93.9, abs=0.2)
    assert boiling_point(high).s == pytest.approx(2.35, abs=0.1)
    assert "what the water shows" in boiling_point_basis(high)
    assert high.ambient_c is not None


@pytest.mark.parametrize(
    "place", [Place(), Place(altitude_m=ufloat(240.0, 20.0)), Place(pressure_pa=ufloat(98_000.0, 200.0))]
)
def test_the_one_input_is_called_pressure(place: Place) -> None:
    assert [variable.tag for variable in boiling_point(place).error_components()] == ["pressure"]
