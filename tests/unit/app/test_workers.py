"""Processes to work with are had, or it is said what is missing; what they do is tried in `tests/system`."""

import sys

import pytest

from emberline.app.workers import OURS, WorkersError, workers


def test_without_the_packages_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(WorkersError, match=r"pip install 'emberline\[cluster\]'"), workers(None, 2):
        pass


def test_what_is_set_of_dask_is_what_dask_knows() -> None:
    pytest.importorskip("distributed")
    from dask import config

    for name in OURS:
        config.get(name)  # raises where there is no such setting
