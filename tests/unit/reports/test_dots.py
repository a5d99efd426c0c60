"""Dot plots: every burn is there, and the picture repeats."""

import re

from emberline.reports.dots import dot_plot
from emberline.trials.comparison.comparison import Burn, Compared, compare


def compared() -> Compared:
    def burns(name: str, *values: float) -> list[Burn]:
        results = ({"value": value, "u": 1.0, "unit": "s", "budget": {}} for value in values)
        return [Burn(f"{name}-{n}", None, "yard", None, {"time_to_boil": one}) for n, one in enumerate(results)]

    groups = {
        "a": burns("a", 402.0, 411.0, 395.0),
        "a skirt with a very long name": burns("b", 361.0),
        "c": [Burn("c", None, "yard", None, {})],
    }
    return compare(groups, ["time_to_boil"]).compared[0]


def test_a_picture_repeats_and_has_no_outside_address() -> None:
    picture = dot_plot(compared(), key="boil")
    assert picture == dot_plot(compared(), key="boil")
    assert "http" not in picture.replace("http://www.w3.org", "")


def test_it_is_described_for_those_who_cannot_see_it() -> None:
    picture = dot_plot(compared(), key="boil").replace("\N{NO-BREAK SPACE}", " ")
    assert '<title id="boil-title">Time to boil by group</title>' in picture
    assert "a: 403 ± 20 s" in picture
    assert "c: –" in picture


def test_every_burn_has_its_dot_and_long_names_are_shortened() -> None:
    picture = dot_plot(compared(), key="boil")
    dots = re.findall(r"<use [^>]*stroke: #b5480f", picture)
    assert len(dots) == 4
    assert "a skirt with a very lon… (1)" in picture
