"""Cards to show to others, as files."""

from pathlib import Path

from emberline.app.stored import STORE_NAME, Announcements, analysis_of, find_trial, started
from emberline.app.summaries import Stage
from emberline.reports.cards import Shape, comparison_card, result_card
from emberline.reports.drawing import Picture
from emberline.store.errors import ExportError
from emberline.store.reader import StoreReader
from emberline.trials.comparison.comparison import Comparison


def card_of(
    data: Path, name: str, target: Path, shape: Shape, *, overwrite: bool = False, stage: Stage = lambda _: None
) -> None:
    """Draw a trial's card into a file.

    Args:
        data: Data directory.
        name: Id of the trial, or `last`.
        target: File that ends in `.png`, `.svg` or `.pdf`.
        shape: Its shape.
        overwrite: Whether the file may exist.
        stage: Is told what begins.

    Raises:
        StoreError: There is no such store or trial, or it cannot be read.
        ExportError: The file cannot be written.
    """
    picture = picture_of(target, overwrite=overwrite)
    store = StoreReader(data / STORE_NAME)
    trial = find_trial(store, name)
    stage("finding events, telling fuel from water")
    analysis = analysis_of(store, trial, Announcements.LEFT_OUT)
    stage("drawing the card")
    write_picture(target, result_card(analysis, shape, picture, started=started(trial)))


def card_of_comparison(
    comparison: Comparison, title: str, target: Path, shape: Shape, *, overwrite: bool = False
) -> None:
    """Draw a comparison's card into a file.

    Args:
        comparison: The comparison.
        title: What is compared.
        target: File that ends in `.png`, `.svg` or `.pdf`.
        shape: Its shape.
        overwrite: Whether the file may exist.

    Raises:
        ExportError: The file cannot be written.
    """
    picture = picture_of(target, overwrite=overwrite)
    write_picture(target, comparison_card(comparison, title, shape, picture))


def picture_of(target: Path, *, overwrite: bool) -> Picture:
    """Return the format that a file's ending names.

    Raises:
        ExportError: It names none, the file exists, or its folder does not.
    """
    try:
        picture = Picture(target.suffix.lower().removeprefix("."))
    except ValueError as exc:
        raise ExportError(f"{target}: name a file that ends in .png, .svg or .pdf") from exc
    if target.exists() and not overwrite:
        raise ExportError(f"{target} exists: name another file, or add --overwrite")
    if not target.absolute().parent.is_dir():
        raise ExportError(f"{target}: there is no folder {target.absolute().parent}: make it first")
    return picture


def write_picture(target: Path, content: bytes) -> None:
    """Write a picture; the file appears when it is whole.

    Raises:
        ExportError: It cannot be written.
    """
    unfinished = target.with_name(target.name + ".unfinished")
    try:
        unfinished.write_bytes(content)
        unfinished.replace(target)
    except OSError as exc:
        raise ExportError(f"cannot write {target}: {exc.strerror or exc}") from exc
    finally:
        unfinished.unlink(missing_ok=True)
