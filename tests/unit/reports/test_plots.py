import xml.etree.ElementTree as ET
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest

from emberline.bench.channels import Role
from emberline.curves.grid import Grid
from emberline.reports.panels import NARROW, WIDE, Size
from emberline.reports.plots import burn_curves
from emberline.reports.timeline import zero_s
from emberline.trials.analysis import Analysis
from unit.reports.made_up_burn import make_burn


def texts(svg: str) -> list[str]:
    return ["".join(text.itertext()).strip() for text in ET.fromstring(svg).iter("text")]  # noqa: S314 - our own


def draw(burn: Analysis, size: Size = WIDE) -> str:
    return burn_curves(burn, size, title="Curves", description="A burn.")


def test_every_curve_and_event_is_named() -> None:
    seen = texts(draw(make_burn()))
    for heading in ("Water temperature, °C", "Flame temperature, °C", "Load cell, g", "Fuel and water, g"):
        assert heading in seen
    assert "Burning rate, g/min" in seen
    for key in ("fuel and char", "water in the pot", "95 % band", "water"):
        assert key in seen
    assert {"1 lit 0:00", "2 pot on 1:00", "4 boil 8:54", "5 pot off 15:18", "6 refuel", "7 flameout 26:30"} <= set(
        seen
    )
    assert "minutes from lit" in seen


def test_panels_without_data_are_left_out() -> None:
    assert "Water temperature, °C" not in texts(draw(make_burn(pot=False)))
    no_mass = texts(draw(make_burn(mass=False)))
    assert "Load cell, g" not in no_mass
    assert "Burning rate, g/min" not in no_mass


def test_without_lit_time_starts_at_the_first_sample() -> None:
    burn = make_burn(events=())
    assert zero_s(burn) == 0.0
    assert "minutes from the first sample" in texts(draw(burn))


def test_without_any_reading_there_is_no_picture() -> None:
    burn = make_burn(pot=False, mass=False)
    assert draw(replace(burn, grid=Grid(0, {}))) == ""


@pytest.mark.parametrize("seconds", [2, 30])
def test_a_record_of_moments_can_be_drawn(seconds: int) -> None:
    assert draw(make_burn(seconds=seconds, events=()))


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_a_night_long_burn_stays_small(size: Size) -> None:
    assert len(draw(make_burn(seconds=40_000), size)) < 250_000


def test_the_users_own_plot_settings_change_nothing() -> None:
    burn = make_burn()
    usual = draw(burn)
    with mpl.rc_context({"lines.linewidth": 9.0, "font.size": 30.0, "axes.facecolor": "red", "svg.fonttype": "path"}):
        assert draw(burn) == usual
    assert draw(burn) == usual


def test_a_lone_absurd_reading_does_not_flatten_the_panel() -> None:
    burn = make_burn()
    assert float(np.nanmax(burn.grid.columns[Role.MASS].value)) > 5e4
    labels = [text for text in texts(draw(burn)) if text.isdigit()]
    assert max(int(label) for label in labels) < 10_000


def test_curves_of_one_panel_differ_without_colour() -> None:
    """Fuel is a full line, water a dashed one: they differ on a grey print."""
    assert "stroke-dasharray" in draw(make_burn())
