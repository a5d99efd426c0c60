import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import ufloat

from column_fixture import column, seconds
from emberline.bench.channels import Role, default_channel
from emberline.curves.burning_rate import noise_of
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Column, Grid
from emberline.curves.mass_steps import find_steps, masked
from emberline.heat.result import QualityNote
from emberline.trials.record_quality import record_notes

Array = NDArray[np.float64]
BASIS = "station pressure 985 hPa"


def notes(
    columns: dict[Role, Column], *, assumed: tuple[Role, ...] = (), events: tuple[Event, ...] = ()
) -> dict[str, list[str]]:
    """Return the texts of the notes by their code."""
    n = len(next(iter(columns.values())))
    channels = {role: default_channel(role) for role in columns}
    mass = columns.get(Role.MASS)
    noise_g = None if mass is None or not mass.count.any() else noise_of(masked(mass, find_steps(mass)))
    found: dict[str, list[str]] = {}
    for note in record_notes(Grid(n, columns), channels, assumed, events, BASIS, noise_g):
        assert isinstance(note, QualityNote)
        found.setdefault(note.code, []).append(note.text)
    return found


def burn(n: int = 900, noise_g: float = 0.1, seed: int = 1) -> Array:
    return 900.0 - 0.15 * seconds(n) + np.random.default_rng(seed).normal(0.0, noise_g, n)


def test_a_good_record_needs_no_words() -> None:
    assert notes({Role.MASS: column(burn())}) == {}


def test_what_nobody_described_is_said_channel_by_channel() -> None:
    columns = {Role.MASS: column(burn()), Role.WATER: column(np.full(900, 20.0))}
    texts = notes(columns, assumed=(Role.WATER, Role.MASS))["assumed_channel"]
    assert [text.split()[1] for text in texts] == ["mass", "water"]
    assert "1.85 °C" in texts[1]
    assert "assumed_channel" not in notes(columns)


def test_the_boiling_point_says_what_it_rests_on() -> None:
    assert notes({Role.WATER: column(np.full(900, 20.0))})["boiling_point_basis"] == [
        f"Local boiling point from {BASIS}."
    ]
    assert "boiling_point_basis" not in notes({Role.MASS: column(burn())})


def test_silence_is_told_with_its_length_and_place() -> None:
    mass = burn()
    mass[100:130] = np.nan
    mass[400:412] = np.nan
    mass[600:604] = np.nan
    (text,) = notes({Role.MASS: column(mass)})["gap"]
    assert text == "Channel mass was silent for 42 s in 2 gaps, the longest 30 s, 1:40 into the record."


def test_a_slow_logger_is_not_silent() -> None:
    sparse = np.full(900, np.nan)
    sparse[::5] = burn()[::5]
    assert "gap" not in notes({Role.MASS: column(sparse)})
    sparse[300:360] = np.nan
    assert "gap" in notes({Role.MASS: column(sparse)})


@pytest.mark.parametrize("known", [0, 1])
def test_a_channel_that_said_next_to_nothing_is_named(known: int) -> None:
    values = np.full(300, np.nan)
    values[:known] = 20.0
    assert notes({Role.FLAME: column(values)})["no_readings"] == ["Channel flame has next to no readings."]


@pytest.mark.parametrize(("noise_g", "windy"), [(0.3, False), (2.5, True)])
def test_wind_is_told_by_how_the_load_wavers(noise_g: float, windy: bool) -> None:
    assert ("unsteady_load" in notes({Role.MASS: column(burn(noise_g=noise_g))})) is windy


def test_a_pot_is_no_wind() -> None:
    mass = burn() + np.where(seconds(900) > 300.0, 800.0, 0.0)
    assert "unsteady_load" not in notes({Role.MASS: column(mass)})


def test_a_step_that_nothing_explains_is_told_with_its_size() -> None:
    events = (
        Event(EventKind.STEP, 420.0, 1.0, "load fell by 34.0 g, unexplained", ufloat(-34.0, 0.2)),
        Event(EventKind.STEP, 500.0, 1.0, "a disturbance of up to 80 g that left no load", ufloat(0.1, 0.2)),
    )
    (text,) = notes({Role.MASS: column(burn())}, events=events)["unexplained_step"]
    assert "7:00 (-34.0" in text
    assert "8:20" not in text


def test_notes_come_in_a_fixed_order() -> None:
    mass = burn(noise_g=3.0)
    mass[100:160] = np.nan
    columns = {Role.WATER: column(np.full(900, 20.0)), Role.MASS: column(mass)}
    codes = list(notes(columns, assumed=(Role.MASS,)))
    assert codes == ["assumed_channel", "boiling_point_basis", "gap", "unsteady_load"]


def test_an_empty_record_has_notes_and_no_error() -> None:
    assert "no_readings" in notes({Role.MASS: column([])})
