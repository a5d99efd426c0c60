from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

from emberline.store.store import Store
from live_fixture import end_worker_threads


@pytest.fixture(autouse=True)
async def no_worker_left() -> AsyncIterator[None]:
    yield
    await end_worker_threads()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "burns.sqlite3") as opened:
        yield opened
