"""A trial as a file: its curves for other programs, or all of it for another person."""

import io
from pathlib import Path

from emberline.app.stored import STORE_NAME, Announcements, analysis_of, channels_of, find_trial
from emberline.app.summaries import Stage, summary_of
from emberline.store import export
from emberline.store.pack import SUFFIX, write_pack
from emberline.store.reader import StoreReader
from emberline.store.records import Trial


def export_trial(
    data: Path, name: str, target: Path, *, raw: bool, overwrite: bool = False, stage: Stage = lambda _: None
) -> int:
    """Write a trial into a file and return its number of rows; of a pack, of samples.

    Args:
        data: Data directory.
        name: Id of the trial, or `last`.
        target: File that ends in `.csv` or `.parquet`; or in `.zip`, for a pack that can be imported again.
        raw: Every sample instead of one row a second; a pack has both.
        overwrite: Whether the file may exist.
        stage: Is told what begins.

    Raises:
        StoreError: There is no such store or trial, or it cannot be read.
        ExportError: The file cannot be written.
        OutputError: A summary that is due cannot be written.
    """
    export.require_writable(target, overwrite=overwrite)
    store = StoreReader(data / STORE_NAME)
    trial = find_trial(store, name)
    stage("reading the samples")
    if target.suffix.lower() == SUFFIX:
        return write_pack(store, trial, _beside(data, store, trial), target)
    if raw:
        columns = export.every_sample(store.trial_batches(trial), channels_of(trial), trial.start_ns)
    else:
        columns = export.by_second(analysis_of(store, trial, Announcements.LEFT_OUT))
    stage("writing the file")
    export.write(columns, target)
    return len(columns["t_s"])


def _beside(data: Path, store: StoreReader, trial: Trial) -> dict[str, bytes]:
    """Return what a pack has for people: the summary, its page, the curves a row a second, photos."""
    summary = summary_of(data, trial.id)
    curves = io.StringIO(newline="")
    export.write_rows(export.by_second(analysis_of(store, trial, Announcements.LEFT_OUT)), curves)
    photos = {f"photo-{one.id}.jpg": store.photo(trial.id, one.id) for one in store.photos(trial.id)}
    return {
        **photos,
        "summary.json": summary.text.encode(),
        "summary.html": summary.page.read_bytes(),
        "curves.csv": curves.getvalue().encode(),
    }
