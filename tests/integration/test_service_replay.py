"""What a live run finds, an import of its exported samples finds too."""

import asyncio
import contextlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from emberline import app
from emberline.service.errors import RequestError
from emberline.store.reader import StoreReader
from live_fixture import SimulatedBench, simulated_bench

if TYPE_CHECKING:
    from emberline.service.daemon import Daemon

LENGTH_S = 560.0


async def burn_live(bench: SimulatedBench, data: Path) -> None:
    """Record the whole burn, armed with its plan, and end its trial."""

    async def beside(daemon: "Daemon") -> None:
        armed = False
        while bench.process.returncode is None:
            if not armed:
                with contextlib.suppress(RequestError):
                    await daemon.lanes["bench"].keeper.arm(bench.plan, None)
                    armed = True
            await asyncio.sleep(0.05)
        await daemon.lanes["bench"].finish_trial()

    await app.serve(data, port=str(bench.port), speed=60.0, beside=beside)


def imported(data: Path, folder: Path) -> Any:
    """Export the trial's raw samples, import them elsewhere with the same bench and plan, and return the summary."""
    store = StoreReader(data / app.STORE_NAME)
    trial = store.trials()[-1]
    folder.mkdir()
    for name, text in (("bench.toml", trial.bench_text), ("plan.toml", trial.plan_text)):
        (folder / name).write_text(text, encoding="utf-8")
    app.export_trial(data, trial.id, folder / "raw.csv", raw=True)
    columns = {"t_s": "t_s", "water": "water_c", "flame": "flame_c", "mass": "mass_g"}
    summary = app.import_burn(
        folder / "raw.csv",
        folder / "data",
        columns,
        plan_text=(folder / "plan.toml").read_text(),
        bench_file=folder / "bench.toml",
    )
    return summary.document


def what_happened(document: Any) -> Any:
    """Return what must agree whenever the samples came: events, results, and what is absent."""
    events = [{key: event[key] for key in event if key != "announced_t_s"} for event in document["events"]]
    return {"events": events, **{key: document[key] for key in ("results", "visits", "absent")}}


def what_was_said(document: Any) -> Any:
    """Return what must agree where the samples came as they were taken: the moments of all announcements."""
    return [event["announced_t_s"] for event in document["events"]], document["retracted"]


async def test_a_live_burn_and_an_import_of_its_samples_agree(tmp_path: Path) -> None:
    async with simulated_bench(tmp_path / "bench", duration_s=LENGTH_S) as bench:
        await burn_live(bench, tmp_path / "data")
    live = app.summary_of(tmp_path / "data", app.LAST).document
    kinds = [event["kind"] for event in live["events"]]
    assert kinds == ["lit", "pot_on", "boil", "pot_off", "flameout"]
    assert all(event["announced_t_s"] is not None for event in live["events"])
    again = imported(tmp_path / "data", tmp_path / "again")
    assert what_happened(again) == what_happened(live)
    assert what_was_said(again) == what_was_said(live)
    folder = tmp_path / "data" / "trials" / live["trial"]
    assert json.loads((folder / "summary.json").read_text(encoding="utf-8")) == live
    assert (folder / "summary.html").stat().st_size > 10_000
