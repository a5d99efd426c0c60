import pytest

from emberline.trials.guide.typed import GuideError, typed_numbers

KEYS = {"fuel.mass_g": "mass_g", "place.altitude_m": "altitude_m"}


@pytest.mark.parametrize(
    ("text", "value", "u"),
    [("330", 330.0, 0.0), (" 330.5 ", 330.5, 0.0), ("330,5", 330.5, 0.0), ("330 ± 2", 330.0, 1.0204),
     ("330+-2", 330.0, 1.0204), ("330 +/- 0,5", 330.0, 0.2551)],
)  # fmt: skip
def test_a_number_is_read_with_its_half_width(text: str, value: float, u: float) -> None:
    # Half of a 95 % interval is 1.96 standard uncertainties (JCGM 100:2008, table G.1).
    assert typed_numbers({"fuel.mass_g": text}, KEYS)["fuel.mass_g"] == pytest.approx((value, u), abs=1e-4)


def test_heights_may_be_below_the_sea() -> None:
    assert typed_numbers({"place.altitude_m": "−3"}, KEYS) == {"place.altitude_m": (-3.0, 0.0)}


def test_what_is_typed_in_percent_is_kept_as_a_fraction() -> None:
    found = typed_numbers({"moisture_wet": "8 ± 1"}, {"moisture_wet": "moisture_wet"}, {"moisture_wet": 0.01})
    assert found["moisture_wet"] == pytest.approx((0.08, 0.0051), abs=1e-4)


def test_blank_fields_and_strange_keys_are_left_out() -> None:
    assert typed_numbers({"fuel.mass_g": "  ", "something": "1"}, KEYS) == {}


def test_all_that_is_wrong_is_told_at_once_by_field() -> None:
    with pytest.raises(GuideError) as caught:
        typed_numbers({"fuel.mass_g": "0.3", "place.altitude_m": "high"}, KEYS)
    assert set(caught.value.problems) == set(KEYS)
    assert "kilograms" in str(caught.value)
