"""The guide for building a bench shows the wiring that the firmware has."""

import importlib.util
from pathlib import Path
from types import ModuleType
from xml.parsers.expat import ParserCreate

import pytest

FOLDER = Path(__file__).parents[2] / "deploy" / "bench-guide"
GUIDE = (FOLDER / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def draw() -> ModuleType:
    spec = importlib.util.spec_from_file_location("bench_guide_draw", FOLDER / "draw.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["wiring.svg", "bench.svg", "probe.svg"])
def test_each_picture_is_the_one_that_the_script_draws(draw: ModuleType, name: str) -> None:
    drawn = draw.pictures()[name]
    assert (FOLDER / name).read_text(encoding="utf-8") == drawn, "run deploy/bench-guide/draw.py"
    ParserCreate().Parse(drawn, True)  # raises where it is no well-formed XML
    assert f"({name})" in GUIDE


def test_the_table_has_the_firmwares_pins(draw: ModuleType) -> None:
    assert draw.with_pins(GUIDE) == GUIDE, "run deploy/bench-guide/draw.py"
    for row in draw.pin_rows(draw.board_pins()):
        assert f"| {' | '.join(row)} |" in GUIDE


def test_pins_are_named_as_boards_print_them(draw: ModuleType) -> None:
    assert [draw.board_pin(port) for port in ("PD2", "PB5", "PC4")] == ["D2", "D13", "A4"]
    found = draw.pins("#define BRIDGE_DATA PD7\n#define BRIDGE_PCINT PCINT23\n")
    assert found == {"BRIDGE_DATA": "D7", "BUS_DATA": "A4", "BUS_CLOCK": "A5"}


def test_the_cautions_come_first() -> None:
    assert GUIDE.index("carbon monoxide") < GUIDE.index("## Parts")
