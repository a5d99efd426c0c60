"""The names of trials, series and benches in a data directory, as a shell completes them."""

import json
import os
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import click
from click.shell_completion import CompletionItem

if TYPE_CHECKING:
    from emberline.store.reader import StoreReader

Completed = Callable[[click.Context, click.Parameter, str], list[CompletionItem]]


def _named(names: Callable[["StoreReader"], Iterator[tuple[str, str]]]) -> Completed:
    """Return what completes a word with those names, each with a word about it, of the store that the options name."""

    def completed(context: click.Context, _: click.Parameter, begun: str) -> list[CompletionItem]:
        # A shell that asks waits for it, and shows whatever is printed: nothing is, and there is nothing to offer then.
        from emberline.config import ConfigError, data_directory
        from emberline.store.errors import StoreError
        from emberline.store.reader import StoreReader
        from emberline.store.schema import STORE_NAME

        try:
            store = StoreReader(data_directory(context.params.get("data"), os.environ) / STORE_NAME)
            return [CompletionItem(name, help=about) for name, about in names(store) if name.startswith(begun)]
        except (ConfigError, StoreError):
            return []

    return completed


@_named
def trial_names(store: "StoreReader") -> Iterator[tuple[str, str]]:
    """Complete the id of a trial, the newest first."""
    yield "last", "the newest"
    for trial in reversed(store.trials()):
        yield trial.id, trial.label or ""


@_named
def bench_names(store: "StoreReader") -> Iterator[tuple[str, str]]:
    """Complete the id of a bench."""
    for name in store.benches():
        yield name, ""


@_named
def series_names(store: "StoreReader") -> Iterator[tuple[str, str]]:
    """Complete the name of a planned series."""
    for text in store.all_series():
        yield json.loads(text)["name"], ""
