"""A comparison of trials in a program of one's own."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from emberline.trials.comparison.comparison import Comparison as Compared


class Comparison:
    """What groups of trials have in common and where they differ, each difference with its 95 % interval."""

    def __init__(self, compared: "Compared") -> None:
        """Use `Store.compare`."""
        self._compared = compared

    @property
    def document(self) -> dict[str, Any]:
        """All of it, as the document `emberline.comparison/1`."""
        from emberline.trials.comparison.document import comparison_document

        return comparison_document(self._compared)

    def figure(self, *, narrow: bool = False) -> "Figure":
        """Draw each result as a dot a burn, and each group's mean with its 95 % interval.

        Args:
            narrow: 89 mm wide instead of 185 mm.
        """
        from emberline.reports.panels import NARROW, WIDE
        from emberline.reports.paper import comparison_figure

        return comparison_figure(self._compared, NARROW if narrow else WIDE)
