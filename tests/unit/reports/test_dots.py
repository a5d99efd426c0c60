"""Dot plots: every burn is there, and every group has its row."""

import numpy as np
from matplotlib.figure import Figure

from emberline.reports.dots import draw_dots
from emberline.trials.comparison.comparison import Burn, compare


def burns(name: str, *values: float) -> list[Burn]:
    results = ({"value": value, "u": 1.0, "unit": "s", "budget": {}} for value in values)
    return [Burn(f"{name}-{n}", None, "yard", None, {"time_to_boil": one}) for n, one in enumerate(results)]


def test_every_burn_has_its_dot_and_long_names_are_shortened() -> None:
    groups = {
        "a": burns("a", 402.0, 411.0, 395.0),
        "a skirt with a very long name": burns("b", 361.0),
        "c": [Burn("c", None, "yard", None, {})],
    }
    ax = Figure().add_subplot()
    draw_dots(ax, compare(groups, ["time_to_boil"]).compared[0], 8.0)
    dots = [line for line in ax.lines if line.get_marker() == "o"]
    assert [np.asarray(line.get_xdata()).size for line in dots] == [3, 1, 0]
    assert [label.get_text() for label in ax.get_yticklabels()] == ["a (3)", "a skirt with a very lon… (1)", "c (0)"]
    assert [note.get_text().replace("\N{NO-BREAK SPACE}", " ") for note in ax.texts] == ["403 ± 20 s", "361 s"]
    # Of one burn there is no interval: a dot and a stroke.
    assert len(ax.lines) == 3 + 2 + 1
