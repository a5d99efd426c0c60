import numpy as np
from click.testing import CliRunner

from emberline_sim.chips import chip_lines, main
from emberline_sim.device.converters import Block, bridge, thermocouple
from emberline_sim.device.wiring import wire
from emberline_sim.recording import record
from emberline_sim.scenario import load_scenario

MASS, WATER = bridge(0, "mass", 10.0, 400.0, 1_000), thermocouple(1, "water", 4.0, 0.25)


def test_lines_of_all_channels_come_in_order_with_what_happens_beside_them() -> None:
    blocks = [
        MASS.convert(np.array([0.0, 0.1, 0.9]), np.array([0.0, 1.0, 2.0])),
        WATER.convert(np.array([0.05, 0.5]), np.array([20.25, np.nan])),
        MASS.convert(np.array([1.0]), np.array([3.0])),
    ]
    assert list(chip_lines([MASS, WATER], blocks, ["500000 brown-out", "2000000 hang"])) == [
        "0 mass 1000 0",
        "50000 water 20.250000 0",
        "100000 mass 1400 0",
        "500000 brown-out",
        "500000 water 0.000000 1",
        "900000 mass 1800 0",
        "1000000 mass 2200 0",
        "2000000 hang",
    ]


def test_every_reading_of_a_burn_has_its_line() -> None:
    converters, blocks = wire(record(load_scenario("light_sticks")))
    kept: list[Block] = list(blocks)
    lines = [line.split() for line in chip_lines(converters, kept)]
    assert len(lines) == sum(len(block) for block in kept)
    times = [int(line[0]) for line in lines]
    assert times == sorted(times)
    counts = [int(line[2]) for line in lines if line[1] == "mass"]
    assert counts == [int(raw) for block in kept if block.channel == "mass" for raw in block.raw]


def test_a_scenario_that_nobody_knows_is_refused_in_words() -> None:
    result = CliRunner().invoke(main, ["--scenario", "nowhere"])
    assert result.exit_code == 2
    assert "unknown scenario" in result.output
