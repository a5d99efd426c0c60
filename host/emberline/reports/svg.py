"""A matplotlib figure as SVG that can stand inside an HTML page: small, described in words, repeatable."""

import io
import re
from html import escape

from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

FONT_STACK = "'Helvetica Neue', 'Liberation Sans', Arial, 'DejaVu Sans', sans-serif"
"""Fonts of a plot's text; all are no wider than the DejaVu Sans that the layout was measured with."""

_NUMBER = re.compile(r"-?\d+\.\d{3,}")
_DRAWN = re.compile(r'(?<=\s)(d|x|y|points|transform)="[^"]*"')
_FONT = re.compile(r"'DejaVu Sans'(?:, [^;\"]*)?")


def inline_svg(figure: Figure, *, key: str, title: str, description: str) -> str:
    """Return a figure as one `<svg>` element.

    Coordinates keep two decimals (0.01 pt), ids are prefixed with `key` so that several figures can share a page,
    and nothing in it names an outside address or the moment of drawing. `svg.hashsalt` and `svg.fonttype` must be
    set by the caller's rc context.

    Args:
        figure: The figure.
        key: Prefix of all ids, unique within the page.
        title: Short name of the picture.
        description: What it shows, for readers who cannot see it.
    """
    FigureCanvasSVG(figure)
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :].strip()
    text = re.sub(r"<!--.*?-->", "", text, flags=re.DOTALL)
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="', f'id="{key}-', text)
    text = text.replace('xlink:href="#', f'href="#{key}-').replace("url(#", f"url(#{key}-")
    text = _DRAWN.sub(lambda drawn: _NUMBER.sub(_short, drawn[0]), text)
    text = _FONT.sub(FONT_STACK.replace("\\", ""), text)
    text = re.sub(r"\s*\n\s*", "\n", text)
    box = re.search(r'viewBox="([^"]*)"', text)
    opening = (
        f'<svg class="plot plot-{key}" viewBox="{box[1] if box else ""}" role="img" '
        f'aria-labelledby="{key}-title {key}-desc">\n'
        f'<title id="{key}-title">{escape(title)}</title>\n<desc id="{key}-desc">{escape(description)}</desc>'
    )
    return re.sub(r"<svg[^>]*>", lambda _: opening, text, count=1)


def _short(number: re.Match[str]) -> str:
    text = f"{float(number[0]):.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
