from collections.abc import Iterator
from pathlib import Path

import pytest

from emberline.store.store import Store
from unit.store.made_up import NOON_NS


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "burns.sqlite3", now_ns=lambda: NOON_NS) as opened:
        yield opened
