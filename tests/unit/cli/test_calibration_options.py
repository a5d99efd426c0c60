import click
import pytest
from click.testing import CliRunner

from emberline.cli.calibration_options import (
    SURE_TO_G,
    Asked,
    asked_masses,
    bench_options,
    half_width_g,
    name_of,
    read_masses,
)


def test_masses_are_read_as_they_are_written() -> None:
    assert read_masses("0, 1000,500.5,0") == [0.0, 1000.0, 500.5, 0.0]
    with pytest.raises(click.BadParameter, match="write grams with commas between"):
        read_masses("a kilogram")
    with pytest.raises(click.BadParameter, match="at most 12 loads"):
        read_masses(",".join(["0", "500"] * 7))


@pytest.mark.parametrize(("typed", "masses_g"), [("800\n400\n", [0, 800, 400, 0]), ("800\n\n", [0, 800, 0])])
def test_masses_are_asked_for(typed: str, masses_g: list[float]) -> None:
    @click.command()
    def ask() -> None:
        click.echo(asked_masses())

    assert str([float(one) for one in masses_g]) in CliRunner().invoke(ask, input=typed).output


def test_how_far_off_masses_may_be_is_given_or_usual() -> None:
    assert half_width_g(0.05, asked=True) == 0.05
    assert half_width_g(None, asked=False) == SURE_TO_G


def test_the_options_of_a_bench_are_handed_over_as_one() -> None:
    heard: list[Asked] = []

    @click.command()
    @bench_options
    def command(asked: Asked) -> None:
        heard.append(asked)

    told = CliRunner().invoke(command, ["--port", "p", "--bench", "yard", "--data", "d", "--by", "Ana"])
    assert told.exit_code == 0
    (asked,) = heard
    assert (asked.bench, str(asked.folder), asked.who, asked.where.port) == ("yard", "d", "Ana", "p")
    assert asked.where.named


def test_somebody_always_asks() -> None:
    assert name_of("Ana") == "Ana"
    assert name_of(None)
