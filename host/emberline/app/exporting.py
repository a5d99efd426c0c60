"""A trial's curves as a file for other programs."""

from pathlib import Path

from emberline.app.stored import STORE_NAME, analysis_of, channels_of, find_trial
from emberline.app.summaries import Stage
from emberline.store import export
from emberline.store.reader import StoreReader


def export_trial(
    data: Path, name: str, target: Path, *, raw: bool, overwrite: bool = False, stage: Stage = lambda _: None
) -> int:
    """Write a trial's curves into a file and return the number of rows.

    Args:
        data: Data directory.
        name: Id of the trial, or `last`.
        target: File that ends in `.csv` or `.parquet`.
        raw: Every sample instead of one row a second.
        overwrite: Whether the file may exist.
        stage: Is told what begins.

    Raises:
        StoreError: There is no such store or trial, or it cannot be read.
        ExportError: The file cannot be written.
    """
    export.require_writable(target, overwrite=overwrite)
    store = StoreReader(data / STORE_NAME)
    trial = find_trial(store, name)
    stage("reading the samples")
    if raw:
        columns = export.every_sample(store.trial_batches(trial), channels_of(trial), trial.start_ns)
    else:
        columns = export.by_second(analysis_of(store, trial, follow=False))
    stage("writing the file")
    export.write(columns, target)
    return len(columns["t_s"])
