"""A store, or an archive of many, opened to be read by a program of one's own."""

import os
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from emberline.lab.comparison import Comparison
from emberline.lab.tables import Table, results_table, texts
from emberline.lab.trial import Trial

if TYPE_CHECKING:
    from emberline.store.burn_reader import BurnReader


def open_store(place: str | Path | None = None) -> "Store":
    """Open a data folder, or a backup of one, to be read.

    Args:
        place: The folder, or the file that `emberline backup` wrote; by default the folder that the commands use.

    Raises:
        StoreError: There is no store, or it cannot be read.
        ConfigError: The default folder's name belongs to something else.
    """
    from emberline.app.stored import STORE_NAME
    from emberline.config import data_directory
    from emberline.store.reader import StoreReader

    path = data_directory(None, os.environ) if place is None else Path(place)
    reader = StoreReader(path if path.is_file() else path / STORE_NAME)
    reader.benches()
    return Store(reader)


def open_archive(location: str) -> "Store":
    """Open an archive that `emberline archive` fills, as it is now.

    Args:
        location: Where it is, as fsspec takes it.

    Raises:
        StoreError: There is none, or it cannot be read.
    """
    from emberline.app.burns import archived_burns

    return Store(archived_burns(location).reader)


class Store:
    """Trials to look into. Each call sees what is stored by then, so trials that a daemon records appear."""

    def __init__(self, reader: "BurnReader") -> None:
        """Use `open_store` or `open_archive`."""
        self._reader = reader

    def __iter__(self) -> Iterator[Trial]:
        """Yield the trials in the order in which they were entered, a running one included."""
        return (Trial(self._reader, record) for record in self._reader.trials())

    def trial(self, name: str) -> Trial:
        """Return a trial by its id, or the one entered last for `last`.

        Raises:
            UnknownTrialError: There is no such trial.
        """
        from emberline.app.stored import find_trial

        return Trial(self._reader, find_trial(self._reader, name))

    def results(self) -> Table:
        """Return the results of all trials that have ended, a row each.

        Returns:
            `trial`, `bench`, `label`, `started` (UTC), `excluded` (why, empty where it counts), a column such as
            `factors.holes` for each factor, and for each result of the summary its value and, as `u_` and its name,
            its standard uncertainty. Units are those of the summary; `units()` has them.

        Raises:
            StoreError: The store cannot be read.
        """
        ended = [trial for trial in self if not trial.running]
        factors = sorted({name for trial in ended for name in trial.factors})
        return {
            "trial": texts(trial.id for trial in ended),
            "bench": texts(trial.bench for trial in ended),
            "label": texts(trial.label for trial in ended),
            "started": np.array([trial.started for trial in ended], dtype="datetime64[ns]"),
            "excluded": texts(trial.excluded for trial in ended),
            **{f"factors.{name}": texts(trial.factors.get(name) for trial in ended) for name in factors},
            **results_table([trial.summary for trial in ended], list(units())),
        }

    def compare(
        self,
        by: Sequence[str] = (),
        *,
        groups: Mapping[str, Sequence[str]] | None = None,
        where: Mapping[str, str] | None = None,
        results: Sequence[str] = (),
    ) -> Comparison:
        """Compare groups of trials, as `emberline compare` does.

        Args:
            by: Factors of the plans by which to group them; or
            groups: ids of trials by group.
            where: Levels of factors that a trial must have to take part, with `by`.
            results: Names of the results; the main ones where empty.

        Raises:
            ComparisonError: No trial takes part, no trial has such a factor, or one stands in two groups.
            StoreError: There is no such trial, or the store cannot be read.
        """
        from emberline.app.burns import Burns
        from emberline.app.comparing import compare_by, compare_groups
        from emberline.reports.wording import COMPARED

        burns = Burns(self._reader, lambda record: Trial(self._reader, record).summary)
        names = tuple(results) or COMPARED
        return Comparison(
            compare_groups(burns, groups, names) if groups else compare_by(burns, tuple(by), names, where)
        )


def units() -> dict[str, str]:
    """Return the unit of each result by its name; empty for a fraction, `1` for a ratio."""
    from emberline.heat.results import RESULT_UNITS

    return dict(RESULT_UNITS)
