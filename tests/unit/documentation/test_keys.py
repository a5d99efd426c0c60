import pytest
from documentation import keys
from documentation.keys import Key, UnexplainedError, asked_for, bench_keys, plan_keys

from emberline.bench.bench_file import parse_bench
from emberline.bench.plan import parse_plan
from emberline.bench.plan_quantities import QUANTITIES
from emberline.bench.toml_reading import Section


def test_a_plans_keys_are_those_that_its_reader_asks_for() -> None:
    found = asked_for(parse_plan)
    assert {key.name for key in found} >= set(QUANTITIES)
    assert Key("fuel", "mass_g", "number, 1 to 20,000 g", "0.5 g") in found
    assert Key("fuel", "lhv_dry_j_g", "number, 5000 to 45,000 J/g", "2 %") in found
    (material,) = [key.takes for key in found if key.name == "material"]
    assert material.startswith("one of `")
    assert '`"steel"`' in material
    assert Key("pot.visit", "water_g", "number, 25 to 50,000 g", "0.5 g") in found
    assert Key("", "factors", "table of words") in found


def test_a_bench_files_keys_are_found_in_tables_within_tables() -> None:
    found = {(key.table, key.name): key.takes for key in asked_for(parse_bench)}
    assert found["channel.thermocouple", "class"] == "whole number, 1 to 2"
    assert found["serial.lines", "time_unit"] == 'one of `"ms"`, `"us"`, `"s"`'
    assert found["channel", "resolution"] == "number, 0 or more"
    assert "who-15min" in found["alarms", "co_limits"]
    assert found["mqtt", "tls"] == "`true` or `false`"


def test_readers_are_left_as_they_were() -> None:
    asked_for(parse_plan)
    assert Section.text.__name__ == "text"
    assert parse_plan('label = "x"').label == "x"


def test_every_key_has_a_row_with_its_meaning() -> None:
    for text, read in ((plan_keys(), parse_plan), (bench_keys(), parse_bench)):
        rows = [line for line in text.splitlines() if line.startswith("| `")]
        assert len(rows) == len(asked_for(read))
        assert [row for row in rows if not row.split(" | ")[1].strip()] == []


def test_a_key_of_which_nothing_is_said_stops_the_building(monkeypatch: pytest.MonkeyPatch) -> None:
    said = keys.meanings("### Plan file")
    del said["pot", "tare_g"]
    monkeypatch.setattr(keys, "meanings", lambda _: said)
    with pytest.raises(UnexplainedError, match="pot tare_g"):
        plan_keys()
