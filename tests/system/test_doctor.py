"""`emberline doctor`, and a bench that is described by nothing but the lines of text that it prints."""

import contextlib
import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from conservation import check_replay
from daemon_fixture import EMBERLINE, daemon_process
from emberline.app import STORE_NAME
from emberline.store.reader import StoreReader
from live_fixture import SPEED, end_worker_threads, short_burn, until

DURATION_S = 560.0


@contextmanager
def sketch(folder: Path, style: str, *options: str) -> Iterator[None]:
    """Run a simulated board that prints lines on `folder/port`."""
    (folder / "burn.toml").write_text(short_burn(DURATION_S), encoding="utf-8")
    command = [sys.executable, "-m", "emberline_sim", "--scenario", str(folder / "burn.toml"), "--lines", style]
    command += ["--pty-link", str(folder / "port"), "--tally", str(folder / "tally.json"), *options]
    with (folder / "sim.log").open("wb") as log:
        process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
    try:
        stop_s = time.monotonic() + 60.0
        while not (folder / "port").exists():
            assert process.poll() is None, (folder / "sim.log").read_text()
            assert time.monotonic() < stop_s
            time.sleep(0.05)  # it is another process
        yield
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.terminate()
        process.wait()


def doctor(folder: Path, *arguments: str, expect: int = 0, typed: str = "") -> str:
    command = [EMBERLINE, "doctor", "--port", "port", *arguments]
    done = subprocess.run(command, cwd=folder, input=typed, capture_output=True, text=True, timeout=55, check=False)
    assert done.returncode == expect, done.stderr
    assert "Traceback" not in done.stderr
    return done.stdout + done.stderr


@pytest.mark.timeout(240)
async def test_a_bench_of_text_lines_goes_from_doctor_to_a_summary_with_no_file_edited(tmp_path: Path) -> None:
    bench, data = tmp_path / "shed.toml", tmp_path / "data"
    with sketch(tmp_path, "columns"):
        said = doctor(tmp_path, "--seconds", "4", "--write", "shed.toml")
    assert "lines of text" in said
    assert "Nothing is surely wrong" in said
    written = bench.read_text()
    # The burn itself, on the same board, another day and sixty times as fast.
    with sketch(tmp_path, "columns", "--speed", str(SPEED), "--write-files", str(tmp_path / "burn"), "--linger", "300"):
        async with daemon_process(data, "--bench", str(bench), "--speed", str(SPEED), "--no-http") as daemon:
            plan = (tmp_path / "burn" / "plan.toml").read_text(encoding="utf-8")
            await daemon.told({"do": "arm", "plan": plan, "label": None}, 60.0)
            await until(lambda: "burning" in (tmp_path / "sim.log").read_text(), "the burn", 60.0)
            store = StoreReader(data / STORE_NAME)
            # The board prints until its readings end: one line each half second.
            await until(lambda: _accounted(store) > 2 * 0.97 * DURATION_S * 3, "the last readings", 90.0)
            await daemon.told({"do": "end"}, 60.0)
            await until(lambda: store.trials()[-1].end_ns is not None, "the end of the trial")
            await until(lambda: store.summary(store.trials()[-1].id) is not None, "the summary", 90.0)
    assert bench.read_text() == written
    kinds = check_replay(data, "shed")
    assert {"lit", "pot_on", "boil", "pot_off", "flameout"} <= set(kinds)
    summary = store.summary(store.trials()[-1].id)
    assert summary is not None
    document = json.loads(summary.document)
    assert "unchecked" in {note["code"] for note in document["quality"]}
    assert "time_to_boil" in document["results"]
    _check_conservation(tmp_path, store)
    await end_worker_threads()


def _accounted(store: StoreReader) -> int:
    tallies = [store.tally("shed/lines", 0, name) for name in ("water", "flame", "mass")]
    return sum(tally.stored + tally.lost for tally in tallies)


def _check_conservation(folder: Path, store: StoreReader) -> None:
    """Every line that was handed to the port is stored, in each of its channels; others are flagged lost."""
    board = json.loads((folder / "tally.json").read_text())
    water, flame, mass = (store.tally("shed/lines", 0, name) for name in ("water", "flame", "mass"))
    assert water == flame == mass
    # The first line may have been under way as the port was opened, and the last as it was closed.
    assert board["lines_sent"] - 3 <= mass.stored <= board["lines_sent"]
    # What a busy machine kept the board from sending is known by the board's own time.
    assert abs(mass.stored + mass.lost - board["lines_printed"]) <= 3


def test_doctor_writes_over_nothing_and_says_what_it_cannot_do(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text("mine")
    assert "left alone" in doctor(tmp_path, "--write", "bench.toml", expect=5)
    assert "is the device plugged in?" in doctor(tmp_path, expect=2)


def test_labels_name_themselves_and_each_channel_can_be_touched(tmp_path: Path) -> None:
    with sketch(tmp_path, "labels"):
        said = doctor(
            tmp_path, "--seconds", "3", "--column", "water=water", "--column", "mass=mass", "--touch", typed="s\ns\n"
        )
    assert 'source = "mass"  # as you say' in said
    assert said.index("cold for hours") < said.index("Hold the tip of probe water in your hand")
    assert "Press gently on load cell mass, until" in said
    assert "Nobody uses flame." in said
    assert "The lines have no time" in said
