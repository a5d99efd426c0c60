import pytest

from emberline.bench.inventory import NUMBERS, Entry, InventoryError, Kind, parse_entry
from emberline.bench.plan import parse_plan
from emberline.bench.plan_quantities import QUANTITIES
from emberline.bench.toml_writing import written

LOT = """
name = "spruce pellets, bag of October"
fuel = "pellets"
moisture_wet = 0.08
u_moisture_wet = 0.004
moisture_date = "2026-10-12"
moisture_method = "oven, 105 °C"
lhv_dry_j_g = 18700
heating_value_source = "sheet of the mill"
"""


def refusal(kind: Kind, text: str) -> str:
    with pytest.raises(InventoryError) as caught:
        parse_entry(kind, text)
    return str(caught.value)


def test_a_lot_keeps_what_was_said_of_it() -> None:
    lot = parse_entry(Kind.LOT, LOT)
    assert lot.name == "spruce pellets, bag of October"
    assert lot.words["moisture_method"] == "oven, 105 °C"
    assert lot.numbers == {"moisture_wet": 0.08, "u_moisture_wet": 0.004, "lhv_dry_j_g": 18700.0}


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (Kind.LOT, LOT),
        (Kind.POT, 'name = "tin pot"\ntare_g = 312\nlid = true\nlid_g = 80\nmaterial = "steel"'),
        (Kind.STOVE, 'name = "paint can, 12 holes"\ntare_g = 640\nu_tare_g = 0.2\nremark = "new grate"'),
    ],
)
def test_an_entry_reads_as_it_was_written(kind: Kind, text: str) -> None:
    entry = parse_entry(kind, text)
    assert parse_entry(kind, entry.text) == entry


def test_a_plan_made_from_entries_is_a_plain_plan() -> None:
    lot, pot = parse_entry(Kind.LOT, LOT), parse_entry(Kind.POT, 'name = "tin"\ntare_g = 312\nmaterial = "steel"')
    plan = parse_plan(written({"fuel": lot.plan["fuel"], "pot": pot.plan["pot"]}))
    assert plan.fuel.lot == lot.name
    assert plan.fuel.moisture_wet is not None
    assert (plan.fuel.moisture_wet.n, plan.fuel.moisture_wet.s) == (0.08, 0.004)
    assert plan.fuel.lhv_dry_j_g is not None
    assert plan.fuel.lhv_dry_j_g.s == pytest.approx(0.02 * 18700)  # assumed, as in any plan
    assert plan.pot is not None
    assert plan.pot.heat_capacity_j_k is not None
    assert plan.pot.heat_capacity_j_k.n == pytest.approx(156.0)


def test_what_names_a_condition_becomes_a_factor() -> None:
    assert parse_entry(Kind.LOT, LOT).plan["factors"] == {"fuel": "pellets"}
    assert parse_entry(Kind.POT, 'name = "tin"').plan["factors"] == {"pot": "tin"}
    assert parse_entry(Kind.STOVE, 'name = "can"').plan == {"factors": {"stove": "can"}}


def test_a_pin_meters_dry_basis_stays_one() -> None:
    lot = parse_entry(Kind.LOT, 'name = "x"\nmoisture_dry = 0.25')
    plan = parse_plan(written({"fuel": lot.plan["fuel"]}))
    assert plan.fuel.moisture_wet is not None
    assert plan.fuel.moisture_wet.n == pytest.approx(0.2)


def test_numbers_are_refused_as_in_a_plan() -> None:
    assert "a percentage? write 0.11 for 11 %" in refusal(Kind.LOT, 'name = "x"\nmoisture_wet = 8')
    assert "line 2" in refusal(Kind.LOT, 'name = "x"\nlhv_dry_j_g = 18.7')
    assert "kilograms? this is in grams" in refusal(Kind.POT, 'name = "x"\ntare_g = 0.3')
    assert "did you mean tare_g" in refusal(Kind.STOVE, 'name = "x"\ntara_g = 640')


def test_a_contradiction_is_told_at_its_line() -> None:
    words = refusal(Kind.LOT, 'name = "x"\nmoisture_wet = 0.1\nmoisture_dry = 0.11')
    assert words.startswith("line 3:")
    assert "say the same thing" in words
    assert "needs the fuel's moisture_wet" in refusal(Kind.LOT, 'name = "x"\nlhv_as_fired_j_g = 17000')
    assert "material needs tare_g" in refusal(Kind.POT, 'name = "x"\nmaterial = "steel"')


def test_names_and_dates_are_asked_for_in_words() -> None:
    assert "needs a name" in refusal(Kind.POT, "tare_g = 300")
    assert "no date: write it like" in refusal(Kind.LOT, 'name = "x"\nmoisture_date = "12 October"')
    assert "one of steel" in refusal(Kind.POT, 'name = "x"\ntare_g = 300\nmaterial = "tin"')


def test_every_number_is_one_of_the_plans() -> None:
    assert {key for keys in NUMBERS.values() for key in keys} <= set(QUANTITIES)


def test_text_survives_its_quoting() -> None:
    entry = Entry(Kind.STOVE, 'can "8 holes" \\ 2', {}, {"remark": "line\nbreak"})
    assert parse_entry(Kind.STOVE, entry.text) == entry
