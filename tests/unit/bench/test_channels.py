import pytest

from emberline.bench.calibration import Identity
from emberline.bench.channels import UNITS, Role, default_channel, describe_assumptions
from emberline.bench.thermocouple import tolerance_c


def test_roles_have_the_names_that_column_maps_use() -> None:
    assert [role.value for role in Role] == [
        "water", "flame", "ambient", "mass", "pot_mass", "cell_temperature", "pressure", "co",
    ]  # fmt: skip
    assert set(UNITS) == set(Role)


@pytest.mark.parametrize("role", list(Role))
def test_every_role_has_an_assumed_channel_and_a_sentence(role: Role) -> None:
    channel = default_channel(role)
    assert channel.name == role.value
    assert channel.unit == UNITS[role]
    assert channel.calibration == Identity()
    assert channel.u_bias > 0
    assert channel.u_time_constant_s < channel.time_constant_s or channel.time_constant_s == 0
    sentence = describe_assumptions(channel)
    assert role.value in sentence
    assert sentence.endswith(".")


def test_the_assumed_water_probe_is_a_class_2_wire_on_a_two_kelvin_converter() -> None:
    limit_c = (tolerance_c("K", 2, 100.0) ** 2 + 2.0**2) ** 0.5
    assert default_channel(Role.WATER).u_bias == pytest.approx(limit_c / 3**0.5, abs=0.005)


def test_a_channel_may_have_a_name_of_its_own() -> None:
    channel = default_channel(Role.WATER, "kettle")
    assert (channel.name, channel.role) == ("kettle", Role.WATER)


def test_the_sentence_gives_the_numbers_with_units() -> None:
    assert describe_assumptions(default_channel(Role.WATER)) == (
        "Channel water (assumed: class-2 type K wire, 3 mm sheath, cheap converter): 1.85 °C of constant error, "
        "0.43 % of span, 0.3 °C of drift an hour, steps of 0.25 °C and a lag of 1.5 ± 0.4 s, as standard uncertainties."
    )
    assert "lag" not in describe_assumptions(default_channel(Role.MASS))


def test_a_reading_is_as_uncertain_as_its_parts_in_quadrature() -> None:
    # 1.4 g of constant error, 0.2 % of 1000 g, a step of 0.1 g over the square root of 12.
    expected = (1.4**2 + 2.0**2 + 0.1**2 / 12.0) ** 0.5
    assert default_channel(Role.MASS).u_reading(1000.0) == pytest.approx(expected)
