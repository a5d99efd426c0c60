import pytest

from emberline.bench.channels import Role
from emberline.links.columns import chosen, foreign_unit, guessed, words_of
from emberline.links.errors import RecordingError


def names(header: list[str]) -> dict[str, str]:
    return {key: header[place] for key, place in guessed(header).items()}


def test_words() -> None:
    assert words_of("Water temp (°C)") == {"water", "temp", "°", "c"}
    assert words_of("waterTemp_C2") == {"water", "temp", "c", "2"}
    assert words_of("CO_ppm") == {"co", "ppm"}


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        (["t_s", "mass_g", "hrr_kW"], {"t_s": "t_s", "mass": "mass_g"}),
        (["time_s", "water_c", "mass_g"], {"t_s": "time_s", "water": "water_c", "mass": "mass_g"}),
        (
            ["Timestamp", "Pot temp (°C)", "Flame temp (°C)", "Weight (kg)", "Room temperature"],
            {
                "t_s": "Timestamp",
                "water": "Pot temp (°C)",
                "flame": "Flame temp (°C)",
                "mass": "Weight (kg)",
                "ambient": "Room temperature",
            },
        ),
        (["T_water", "t", "scale"], {"t_s": "t", "water": "T_water", "mass": "scale"}),
        (["Elapsed", "Temperature"], {"t_s": "Elapsed", "water": "Temperature"}),
        (
            [
                "t_s",
                "water_c",
                "mass_g",
                "pot_mass_g",
                "cell_temperature_c",
                "pressure_pa",
                "co_ppm",
                "fuel_g",
                "water_g",
            ],
            {
                "t_s": "t_s",
                "water": "water_c",
                "mass": "mass_g",
                "pot_mass": "pot_mass_g",
                "cell_temperature": "cell_temperature_c",
                "pressure": "pressure_pa",
                "co": "co_ppm",
            },
        ),
        (["time", "mass", "CO2", "u_mass", "mass_raw"], {"t_s": "time", "mass": "mass"}),
    ],
)
def test_guesses(header: list[str], expected: dict[str, str]) -> None:
    assert names(header) == expected


def test_every_column_of_a_role_named_as_we_name_it_is_known() -> None:
    header = ["t_s", *(role.value for role in Role)]
    assert names(header) == dict(zip(header, header, strict=True))


@pytest.mark.parametrize("header", [["a", "b"], ["time", "hrr_kW"], ["mass", "water"], []])
def test_what_cannot_be_guessed_is_asked_for(header: list[str]) -> None:
    with pytest.raises(RecordingError, match="--column t_s=NAME"):
        guessed(header)


HEADER = ["Time", "Water °C", "Mass"]


def test_columns_are_chosen_by_name_in_any_case_or_by_number() -> None:
    assert chosen(HEADER, {"t_s": "time", "mass": "MASS"}, 3) == {"t_s": 0, "mass": 2}
    assert chosen(HEADER, {"t_s": "1", "water": "2"}, 3) == {"t_s": 0, "water": 1}
    assert chosen([], {"t_s": "1", "mass": "3"}, 3) == {"t_s": 0, "mass": 2}


@pytest.mark.parametrize(
    ("wanted", "told"),
    [
        ({"t_s": "Time", "mass": "Mas"}, "'Time', 'Water °C', 'Mass'. Did you mean 'Mass'"),
        ({"t_s": "Time", "mass": "7"}, "no column '7'"),
        ({"t_s": "Time", "wter": "Mass"}, "did you mean water"),
        ({"t_s": "Time", "flame": "Mass"}, "a mass or a water temperature"),
        ({"mass": "Mass"}, "needs a time"),
    ],
)
def test_a_wrong_choice_is_told_with_what_there_is(wanted: dict[str, str], told: str) -> None:
    with pytest.raises(RecordingError, match=told):
        chosen(HEADER, wanted, 3)


def test_two_columns_of_one_name_are_told_apart_by_number() -> None:
    with pytest.raises(RecordingError, match="two columns"):
        chosen(["t", "m", "M"], {"t_s": "t", "mass": "m"}, 3)
    assert chosen(["t", "m", "M"], {"t_s": "t", "mass": "3"}, 3)["mass"] == 2


def test_foreign_units() -> None:
    kilogram = foreign_unit(Role.MASS, "Weight (kg)")
    assert kilogram is not None
    assert kilogram.factor == 1000.0
    fahrenheit = foreign_unit(Role.WATER, "Water °F")
    assert fahrenheit is not None
    # Fixed points of the scale: ice 32 °F, boiling water 212 °F (NIST SP 811, B.8).
    assert 32.0 * fahrenheit.factor + fahrenheit.offset == pytest.approx(0.0, abs=1e-12)
    assert 212.0 * fahrenheit.factor + fahrenheit.offset == pytest.approx(100.0)
    assert foreign_unit(Role.WATER, "water_c") is None
    assert foreign_unit(Role.FLAME, "type K thermocouple") is None
    assert foreign_unit(Role.CO, "co_ppm") is None
