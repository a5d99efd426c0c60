from itertools import pairwise

import matplotlib as mpl
import numpy as np
import pytest

from emberline.curves.grid import Grid
from emberline.reports.drawing import Picture
from emberline.reports.panels import NARROW, WIDE, Size
from emberline.reports.paper import GROUP_COLOURS, burn_figure, comparison_figure, figure_bytes, overlay_figure
from emberline.trials.comparison.comparison import compare
from unit.reports.made_up_burn import make_burn
from unit.reports.test_dots import burns


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_figures_have_the_width_of_a_column(size: Size) -> None:
    compared = compare({"a": burns("a", 402.0, 411.0), "b": burns("b", 361.0, 352.0)}, ["time_to_boil"])
    for figure in (
        burn_figure(make_burn(), size),
        overlay_figure({"a": [make_burn()], "b": [make_burn(seconds=1800)]}, size),
        comparison_figure(compared, size),
    ):
        assert figure.get_size_inches()[0] == size.width_in
        assert figure.get_facecolor() == (1.0, 1.0, 1.0, 1.0)


def test_numbers_below_a_narrow_comparison_do_not_overlap() -> None:
    compared = compare({"a": burns("a", 1490.0, 1502.0), "b": burns("b", 2344.0, 2352.0)}, ["time_to_boil"])
    figure = comparison_figure(compared, NARROW)
    figure.draw_without_rendering()
    boxes = [label.get_window_extent() for label in figure.axes[0].get_xticklabels() if label.get_text()]
    assert all(left.x1 < right.x0 for left, right in pairwise(boxes))


def test_burns_of_a_group_share_a_colour_and_one_name() -> None:
    figure = overlay_figure({"a": [make_burn(), make_burn(seconds=1800)], "b": [make_burn()]}, WIDE)
    _, rate = figure.axes
    curves = [line for line in rate.lines if line.get_marker() == "None"]
    assert [line.get_color() for line in curves] == [GROUP_COLOURS[0], GROUP_COLOURS[0], GROUP_COLOURS[1]]
    (key,) = figure.legends
    assert [text.get_text() for text in key.get_texts()] == ["a", "b"]
    assert np.asarray(curves[0].get_xdata())[0] < 0.0, "minutes count from lit"


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_long_names_of_groups_stay_within_the_figure(size: Size) -> None:
    figure = overlay_figure({f"a group with a rather long name, {n}": [make_burn()] for n in range(4)}, size)
    figure.draw_without_rendering()
    (key,) = figure.legends
    box = key.get_window_extent()
    assert box.x0 >= 0.0
    assert box.x1 <= size.width_in * figure.dpi


def test_boil_and_flameout_are_dots_on_their_curves() -> None:
    burn = make_burn()
    figure = overlay_figure({"a": [burn]}, WIDE)
    times = {event.kind.value: event.t_s for event in burn.events}
    for ax, kind in zip(figure.axes, ("boil", "flameout"), strict=True):
        (dot,) = [line for line in ax.lines if line.get_marker() == "o"]
        assert np.asarray(dot.get_xdata())[0] == pytest.approx((times[kind] - times["lit"]) / 60.0)


def test_a_curve_that_no_burn_has_is_left_out() -> None:
    assert len(overlay_figure({"a": [make_burn(pot=False)]}, WIDE).axes) == 1


def test_nothing_to_draw_is_told() -> None:
    empty = make_burn(pot=False, mass=False)
    object.__setattr__(empty, "grid", Grid(0, {}))
    with pytest.raises(ValueError, match="no reading"):
        burn_figure(empty, WIDE)
    with pytest.raises(ValueError, match="none of these trials"):
        overlay_figure({"a": [make_burn(pot=False, mass=False)]}, WIDE)
    with pytest.raises(ValueError, match="9 groups"):
        overlay_figure({str(n): [make_burn()] for n in range(9)}, WIDE)


@pytest.mark.parametrize("picture", Picture)
def test_the_same_figure_gives_the_same_bytes_whatever_the_users_settings(picture: Picture) -> None:
    first = figure_bytes(burn_figure(make_burn(), NARROW), picture)
    with mpl.rc_context({"font.family": ["serif"], "pdf.fonttype": 3, "svg.fonttype": "path"}):
        assert figure_bytes(burn_figure(make_burn(), NARROW), picture) == first
    assert first.startswith({Picture.PNG: b"\x89PNG", Picture.SVG: b"<?xml", Picture.PDF: b"%PDF"}[picture])


def test_letters_in_a_pdf_are_truetype() -> None:
    written = figure_bytes(burn_figure(make_burn(), NARROW), Picture.PDF)
    assert b"/TrueType" in written or b"/CIDFontType2" in written
    assert b"/Type3" not in written
