"""A small curve beside a name: no axes, one scale for all that stand in one list."""

from collections.abc import Iterator, Sequence

WIDTH, HEIGHT = 120.0, 30.0
"""Size of the picture's own coordinates."""


def spark_path(points: Sequence[float | None], top: float) -> str:
    """Return the path of an SVG element whose box is `WIDTH` by `HEIGHT`; empty where no point is known.

    Args:
        points: Values at equal distances; None leaves a gap.
        top: Value at the upper edge; 0 is at the lower one.
    """
    step = WIDTH / max(len(points) - 1, 1)
    drawn = " ".join(_moves(points, step, max(top, 1e-9)))
    return drawn if "L" in drawn else ""


def _moves(points: Sequence[float | None], step: float, top: float) -> Iterator[str]:
    pen = "M"
    for index, point in enumerate(points):
        if point is None:
            pen = "M"
            continue
        y = HEIGHT - 1.0 - (HEIGHT - 2.0) * min(max(point / top, 0.0), 1.0)
        yield f"{pen}{index * step:.1f} {y:.1f}"
        pen = "L"
