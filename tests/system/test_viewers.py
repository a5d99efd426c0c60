"""The short form of `deploy/bench viewers`: people watch, and no sample is lost."""

from pathlib import Path

import pytest

from benchmarks.viewers import running
from benchmarks.viewers.running import Plan, run


@pytest.mark.timeout(180)
async def test_viewers_awake_and_asleep_cost_no_sample(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "SETTLE_S", 4.0)
    plan = Plan(viewers=10, asleep=2, benches=1, seconds=8.0, frame_s=0.5)
    found = await run(tmp_path, plan, lambda _: None)
    assert found.taken > 0
    assert (found.lost, found.unaccounted, found.doubled, found.breaks) == (0, 0, 0, 0)
    # Twice a second for eight seconds; a busy machine may be late, but each viewer sees the page change.
    assert found.fewest_commits >= 4
