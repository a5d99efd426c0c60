import subprocess
import sys
from pathlib import Path

from compared_fixture import fill
from emberline.service.comparisons import Query, card_of, compared
from emberline.store.store import Store


async def test_it_runs_in_a_process_of_its_own(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s") as store:
        fill(store)
        parts = await compared(store.path, Query(by=("holes",), results=("time_to_boil",), wished=20.0))
        assert [one["name"] for one in parts["results"]] == ["time_to_boil"]
        card = await card_of(store.path, Query(by=("holes",)), "More holes", True, "png")
        assert isinstance(card, bytes)
        assert card.startswith(b"\x89PNG")


def test_a_daemon_with_its_pages_loads_nothing_that_draws_or_compares() -> None:
    large = ["matplotlib", "scipy.stats", "scipy.optimize", "scipy.signal"]
    code = (
        f"import sys, emberline.app.live, emberline.web.site;print([name for name in {large} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=50, check=True)
    assert done.stdout.strip() == "[]"
