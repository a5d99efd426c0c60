from collections.abc import Iterator
from pathlib import Path

import pytest

from emberline.store.store import Store
from live_fixture import no_worker_left as no_worker_left


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "burns.sqlite3") as opened:
        yield opened
