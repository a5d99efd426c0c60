"""Tables: dictionaries of columns, numpy arrays of one length."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Table = dict[str, NDArray[Any]]
"""Columns by name, all of one length."""


def numbers(values: Iterable[float | None]) -> NDArray[np.float64]:
    """Return a column of numbers; NaN where one is None."""
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def texts(values: Iterable[str | None]) -> NDArray[np.object_]:
    """Return a column of texts, as pandas keeps them; empty where one is None."""
    column = [value or "" for value in values]
    return np.array(column, dtype=object)


def flags(values: Iterable[bool]) -> NDArray[np.bool_]:
    """Return a column of true and false."""
    return np.array(list(values), dtype=np.bool_)


def events_table(events: Sequence[Mapping[str, Any]]) -> Table:
    """Return the events of a summary document as a table."""
    return {
        "kind": texts(event["kind"] for event in events),
        "t_s": numbers(event["t_s"] for event in events),
        "u_s": numbers(event["u_s"] for event in events),
        "announced_t_s": numbers(event["announced_t_s"] for event in events),
        "size_g": numbers(event["size_g"] for event in events),
        "confirmed": flags(event["confirmed"] for event in events),
        "by_person": flags(event["by_person"] for event in events),
        "evidence": texts(event["evidence"] for event in events),
    }


def results_table(documents: Sequence[Mapping[str, Any]], names: Sequence[str]) -> Table:
    """Return results of summary documents as a table: a column for each, and one for its standard uncertainty.

    Args:
        documents: A row each.
        names: Names of the results.
    """
    table: Table = {}
    for name in names:
        found = [document["results"].get(name, {}) for document in documents]
        table[name] = numbers(one.get("value") for one in found)
        table[f"u_{name}"] = numbers(one.get("u") for one in found)
    return table
