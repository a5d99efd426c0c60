import asyncio
from pathlib import Path

import pytest

from emberline.service import standing_file
from emberline.service.standing_file import StandingFile, benches_with_standing


async def written() -> None:
    """Wait for what a thread writes."""
    await asyncio.get_running_loop().shutdown_default_executor()


async def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    StandingFile(tmp_path, "yard").keep(1, lambda: {"device": "d", "wanted": {"0": 7}})
    await written()
    assert StandingFile(tmp_path, "yard").read() == {"device": "d", "wanted": {"0": 7}}
    assert StandingFile(tmp_path, "shed").read() is None


async def test_the_first_of_each_boot_is_written_and_of_the_others_the_last(tmp_path: Path) -> None:
    file = StandingFile(tmp_path, "yard")
    for boot, seq in ((1, 10), (2, 10), (2, 20), (2, 30)):
        file.keep(boot, lambda boot=boot, seq=seq: {"boot": boot, "seq": seq})  # type: ignore[misc]
    await written()
    assert StandingFile(tmp_path, "yard").read() == {"boot": 2, "seq": 10}
    file.close()
    assert StandingFile(tmp_path, "yard").read() == {"boot": 2, "seq": 30}


async def test_of_a_boot_that_goes_on_it_is_written_now_and_then(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now_s = 100.0
    monkeypatch.setattr(standing_file, "monotonic", lambda: now_s)
    file, steps = StandingFile(tmp_path, "yard"), list[int]()
    for step in range(60):
        now_s = 100.0 + 10.0 * step
        file.keep(1, lambda step=step: steps.append(step))  # type: ignore[misc]
    first, second, *later = steps
    assert first == 0
    assert 0 < second <= 12
    assert later == list(range(second + 12, 60, 12))


async def test_benches_that_greet_together_are_not_written_together_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now_s, times_s = 0.0, list[float]()
    monkeypatch.setattr(standing_file, "monotonic", lambda: now_s)
    files = [StandingFile(tmp_path, f"bench-{number}") for number in range(200)]
    for second in range(241):
        now_s = float(second)
        for file in files:
            file.keep(1, lambda second=second: times_s.append(second))  # type: ignore[misc]
    most = max(times_s.count(second) for second in range(1, 241))
    # A thousand at a time, they took the event loop for 0.2 s.
    assert most <= 10


async def test_what_was_to_be_written_is_not_once_it_is_to_be_forgotten(tmp_path: Path) -> None:
    file = StandingFile(tmp_path, "yard")
    with file._lock:
        file.keep(1, lambda: {"seq": 1})
        file._newest += 1  # as `forget` does while a thread waits for its turn
    await written()
    assert StandingFile(tmp_path, "yard").read() is None


@pytest.mark.parametrize("damaged", ["", '{"device": ', "[1, 2]", "7"])
def test_a_damaged_file_counts_as_none(tmp_path: Path, damaged: str) -> None:
    (tmp_path / "link-yard.json").write_text(damaged)
    assert StandingFile(tmp_path, "yard").read() is None


def test_a_disk_that_refuses_is_reported_once(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    file = StandingFile(tmp_path / "gone", "yard")
    for _ in range(3):
        file._latest = lambda: {"device": "d"}
        file.close()
    assert caplog.text.count("cannot write") == 1


async def test_the_benches_that_were_heard_are_named(tmp_path: Path) -> None:
    for bench in ("yard", "shed"):
        StandingFile(tmp_path, bench).keep(1, lambda: {"device": "d"})
    await written()
    (tmp_path / "link-barn.unfinished").write_text("{}")
    assert benches_with_standing(tmp_path) == ["shed", "yard"]
