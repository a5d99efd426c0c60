from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.intake import IngestCounts
from emberline.store.store import Store
from live_fixture import no_worker_left as no_worker_left
from unit.store.made_up import NOON_NS, SECOND_NS


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "burns.sqlite3", now_ns=lambda: NOON_NS) as opened:
        yield opened


@pytest.fixture
def board() -> Board:
    return Board("yard", Clock(1.0, NOON_NS + 300 * SECOND_NS, 0.0, lambda: 0.0), IngestCounts())


@pytest.fixture
def lane(board: Board) -> SimpleNamespace:
    """Return what pages ask of a lane; what a keeper is asked for is put down, and nothing done."""
    asked: list[tuple[str, ...]] = []

    class Asked:
        async def note(self, text: str) -> None:
            asked.append(("note", text))

        async def arm(self, plan: str, label: str | None) -> str:
            asked.append(("arm", plan, label or ""))
            return "2025-11-25-1"

        async def end(self) -> str:
            asked.append(("end",))
            return "2025-11-25-1"

    return SimpleNamespace(bench_id="yard", board=board, keeper=Asked(), asked=asked)
