"""Figures of trials for a paper, as files."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from emberline.app.carding import picture_of, write_picture
from emberline.app.stored import STORE_NAME, Announcements, analysis_of, find_trial
from emberline.app.summaries import Stage
from emberline.reports.panels import NARROW, WIDE
from emberline.reports.paper import burn_figure, figure_bytes, overlay_figure
from emberline.store.errors import ExportError
from emberline.store.reader import StoreReader

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis


def draw_figure(
    data: Path,
    names: Sequence[str],
    target: Path,
    *,
    by: str | None = None,
    narrow: bool = False,
    overwrite: bool = False,
    stage: Stage = lambda _: None,
) -> None:
    """Draw the curves of a trial, or of several over each other, into a file.

    Args:
        data: Data directory.
        names: Ids of trials, or `last`.
        target: File that ends in `.pdf`, `.svg` or `.png`.
        by: Factor of the plans that gives trials their colour; without one, each has its own.
        narrow: 89 mm wide instead of 185 mm.
        overwrite: Whether the file may exist.
        stage: Is told what begins, once a trial.

    Raises:
        StoreError: There is no such store or trial, or it cannot be read.
        ExportError: The file cannot be written, or there is nothing to draw.
    """
    picture = picture_of(target, overwrite=overwrite)
    store = StoreReader(data / STORE_NAME)
    trials = [find_trial(store, name) for name in names]
    analyses = []
    for trial in trials:
        stage(f"finding the events of {trial.id}")
        analyses.append(analysis_of(store, trial, Announcements.LEFT_OUT))
    size = NARROW if narrow else WIDE
    try:
        if len(analyses) == 1:
            figure = burn_figure(analyses[0], size)
        else:
            groups: dict[str, list[Analysis]] = {}
            for one in analyses:
                name = one.plan.label or one.trial if by is None else f"{by} {one.plan.factors.get(by, 'not given')}"
                groups.setdefault(name, []).append(one)
            figure = overlay_figure(groups, size)
    except ValueError as exc:
        raise ExportError(str(exc)) from exc
    write_picture(target, figure_bytes(figure, picture))
