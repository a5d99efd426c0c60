"""What a page lets a person take away of a trial, made when it is asked for; runs in a process of its own."""

from pathlib import Path
from tempfile import TemporaryDirectory

from emberline.app.carding import card_of
from emberline.app.exporting import export_trial
from emberline.reports.cards import Shape
from emberline.store.pack import SUFFIX


def published(data: Path, trial: str, name: str) -> bytes:
    """Return a file of a trial.

    Args:
        data: Data directory.
        trial: Id of the trial.
        name: `card.png`, `card-square.png`, `card.svg` or `burn.zip`.

    Raises:
        StoreError: There is no such trial, it goes on, or it cannot be read.
    """
    with TemporaryDirectory() as folder:
        target = Path(folder) / name
        if target.suffix == SUFFIX:
            export_trial(data, trial, target, raw=False)
        else:
            card_of(data, trial, target, Shape.SQUARE if "square" in target.stem else Shape.WIDE)
        return target.read_bytes()
