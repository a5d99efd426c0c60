"""How pictures are drawn: repeatable, whatever the user's own matplotlib settings, one at a time."""

import io
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum

import matplotlib as mpl
from matplotlib.figure import Figure

from emberline.reports.panels import INK

_DRAWING = threading.Lock()


class Picture(Enum):
    """File format of a picture."""

    PNG = "png"
    SVG = "svg"
    PDF = "pdf"


_UNDATED: dict[Picture, dict[str, None]] = {
    Picture.PNG: {"Software": None},
    Picture.SVG: {"Date": None, "Creator": None},
    Picture.PDF: {"CreationDate": None, "Creator": None, "Producer": None},
}
"""What is left out of a file, so that the same picture gives the same bytes."""


def picture_bytes(figure: Figure, picture: Picture, dpi: float) -> bytes:
    """Return a figure as a file; call it within `repeatable`.

    Args:
        figure: The figure.
        picture: File format.
        dpi: Pixels an inch, where it has pixels.
    """
    buffer = io.BytesIO()
    figure.savefig(buffer, format=picture.value, dpi=dpi, facecolor=figure.get_facecolor(), metadata=_UNDATED[picture])
    return buffer.getvalue()


@contextmanager
def repeatable(key: str, font_pt: float, *, letters_as_shapes: bool = False) -> Iterator[None]:
    """Hold the drawing settings that make a picture the same for the same input.

    Args:
        key: Names the picture; its ids grow from it.
        font_pt: Size of its letters.
        letters_as_shapes: Whether an SVG carries its letters as shapes, to look the same where fonts differ.
    """
    defaults = {key: value for key, value in mpl.rcParamsDefault.items() if not key.startswith("backend")}
    settings = {
        **defaults,
        "svg.fonttype": "path" if letters_as_shapes else "none",
        "svg.hashsalt": f"emberline-{key}",
        "pdf.fonttype": 42,  # TrueType, which journals ask for
        "font.family": ["DejaVu Sans"],
        "font.size": font_pt,
        "text.color": INK,
        "axes.labelcolor": INK,
        "axes.labelsize": font_pt,
        "xtick.labelsize": font_pt,
        "ytick.labelsize": font_pt,
        "figure.facecolor": "none",
        "axes.facecolor": "none",
        "savefig.facecolor": "none",
        "path.simplify": True,
        "path.simplify_threshold": 0.3,
    }
    with _DRAWING, mpl.rc_context(settings):
        yield
