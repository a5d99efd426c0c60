from dataclasses import replace

import numpy as np
from matplotlib.figure import Figure

from emberline.bench.channels import Role
from emberline.curves.grid import Grid
from emberline.reports.panels import WIDE, furnish, panels_of
from unit.reports.made_up_burn import make_burn


def test_panels_follow_the_channels_that_have_readings() -> None:
    assert [panel.name for panel in panels_of(make_burn())] == ["water", "flame", "cell", "ledger", "rate"]
    assert [panel.name for panel in panels_of(make_burn(mass=False))] == ["water", "flame"]
    assert [panel.name for panel in panels_of(make_burn(pot=False))] == ["flame", "cell", "ledger", "rate"]
    burn = make_burn()
    silent = replace(burn.grid.columns[Role.WATER], value=np.full(burn.grid.n, np.nan))
    assert "water" not in [
        panel.name for panel in panels_of(replace(burn, grid=Grid(burn.grid.n, {Role.WATER: silent})))
    ]


def test_a_second_load_cell_is_drawn_and_named_beside_the_first() -> None:
    burn = make_burn()
    pot = replace(burn.grid.columns[Role.MASS], value=np.full(burn.grid.n, 965.0))
    both = replace(burn, grid=Grid(burn.grid.n, {**burn.grid.columns, Role.POT_MASS: pot}))
    (panel,) = (panel for panel in panels_of(both) if panel.name == "cell")
    ax = Figure().add_subplot()
    panel.draw(ax, both, WIDE)
    furnish(ax, panel, WIDE, last=True)
    assert [line.get_label() for line in ax.lines] == ["under the stove", "under the pot"]
    assert ax.lines[0].get_linestyle() != ax.lines[1].get_linestyle()
    low, high = ax.get_ylim()
    assert low < 965.0 < high


def test_the_boiling_point_is_always_within_the_water_panel() -> None:
    burn = make_burn()
    cold = replace(burn.grid.columns[Role.WATER], value=np.full(burn.grid.n, 20.0))
    weak = replace(burn, grid=Grid(burn.grid.n, {Role.WATER: cold}))
    (panel,) = (panel for panel in panels_of(weak) if panel.name == "water")
    ax = Figure().add_subplot()
    panel.draw(ax, weak, WIDE)
    assert ax.get_ylim()[1] > burn.boiling_point.nominal_value
