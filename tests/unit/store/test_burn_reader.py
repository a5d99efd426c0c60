"""A store and an archive can be asked the same of trials."""

import inspect

import pytest

from emberline.store.archive_reader import ArchiveReader
from emberline.store.burn_reader import BurnReader
from emberline.store.reader import StoreReader

ASKED = [name for name, _ in inspect.getmembers(BurnReader, inspect.isfunction) if not name.startswith("_")]


@pytest.mark.parametrize("name", ASKED)
@pytest.mark.parametrize("kind", [StoreReader, ArchiveReader])
def test_every_question_is_answered_with_the_same_arguments(kind: type, name: str) -> None:
    asked, answered = (inspect.signature(getattr(one, name)).parameters for one in (BurnReader, kind))
    assert list(asked) == list(answered)


def test_there_are_questions() -> None:
    assert {"trials", "trial_commits", "summary"} <= set(ASKED)
