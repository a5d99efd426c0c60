import asyncio
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import pytest

from emberline.bench.bench_file import Bench, default_bench, parse_bench
from emberline.bench.calibration import Linear
from emberline.bench.channels import Role
from emberline.bench.drift_fit import DriftFit
from emberline.bench.errors import CalibrationError
from emberline.bench.findings import CellCheck, Finding, found_document
from emberline.bench.mass_fit import KnownLoad, fit_mass
from emberline.service.bench_fit import bench_text
from emberline.service.board import Board, TrialNow
from emberline.service.calibrating import CalibratedBench, Calibrations, recalibrate, text_with
from emberline.service.errors import RequestError
from emberline.service.keeper import Ended
from emberline.store.records import Trial
from emberline.store.store import Store
from unit.store.made_up import NOON_NS

MASS = fit_mass([KnownLoad(load, 0.03, 84_000.0 + 420.0 * load, 2.0) for load in (0.0, 1000.0, 500.0, 0.0)])
CHECK = CellCheck(1000.0, 0.1, 999.6, 0.2, False)


class Yard:
    """A lane of which only the bench is looked at."""

    def __init__(self, described: Bench | None) -> None:
        self.bench_id = "yard"
        self.described = described
        self.board = cast(Board, SimpleNamespace(trial=None))
        self.taken: list[Finding] = []

    def take_up(self, finding: Finding) -> None:
        self.taken.append(finding)


def request(kind: str = "mass", found: object = MASS, **other: object) -> dict[str, Any]:
    return {"channel": "mass", "kind": kind, "who": " Ana ", "found": found_document(cast(Any, found)), **other}


@pytest.fixture
def lane() -> Yard:
    return Yard(default_bench([Role.MASS, Role.WATER]))


def entered(store: Store, *, origin: str = "live", ended: bool = True) -> Trial:
    text = bench_text(replace(default_bench([Role.MASS]), id="yard"))
    trial = store.create_trial(bench="yard", start_ns=NOON_NS, origin=origin, bench_text=text)
    if ended:
        store.end_trial(trial.id, NOON_NS + 1)
    return store.trial(trial.id)


def test_the_bench_is_described_without_its_findings_once_a_device_came(store: Store, lane: Yard) -> None:
    calibrations = Calibrations(store, lambda _: None)
    text = calibrations.described(lane)
    assert parse_bench(text).id == "yard"
    assert [channel.role for channel in parse_bench(text).channels] == [Role.MASS, Role.WATER]
    with pytest.raises(RequestError, match="no device has greeted yet"):
        calibrations.described(Yard(None))


def test_a_finding_is_kept_and_holds_at_once(store: Store, lane: Yard) -> None:
    number = asyncio.run(Calibrations(store, lambda _: None).keep(lane, request()))
    (finding,) = store.findings("yard")
    assert (number, finding.who, finding.found) == (1, "Ana", MASS)
    assert lane.taken == [finding]


@pytest.mark.parametrize(
    ("asked", "error", "words"),
    [
        (request(channel="pot_mass"), RequestError, "no channel 'pot_mass' now"),
        (request(found=CHECK), CalibrationError, "this is no mass calibration"),
    ],
)
def test_what_cannot_be_kept_is_refused(
    store: Store, lane: Yard, asked: dict[str, Any], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        asyncio.run(Calibrations(store, lambda _: None).keep(lane, asked))
    assert store.findings("yard") == []


def test_nothing_changes_while_a_trial_is_open_but_a_check_is_kept(store: Store, lane: Yard) -> None:
    lane.board.trial = TrialNow("2025-11-25-1", None, NOON_NS)
    calibrations = Calibrations(store, lambda _: None)
    with pytest.raises(RequestError, match="trial 2025-11-25-1 is open: end it first"):
        asyncio.run(calibrations.keep(lane, request()))
    assert asyncio.run(calibrations.keep(lane, request("check", CHECK))) == 1


def test_a_trial_is_read_with_the_newest_calibrations_and_as_it_was_recorded(store: Store) -> None:
    trial = entered(store)
    store.add_finding("yard", "mass", MASS, "Ana")
    store.add_finding("yard", "mass", DriftFit(0.1, 0.01, 18.0, 12.0, 0.05, None, 0.3), "Ana")
    due: list[Ended] = []
    calibrations = Calibrations(store, due.append)
    asyncio.run(calibrations.recalibrate(trial.id, "Ana", as_recorded=False))
    mass = parse_bench(store.trial(trial.id).bench_text).channels[0]
    assert mass.calibration == Linear(MASS.zero_counts, MASS.counts_per_g)
    assert [one.kind for one in mass.calibrated] == ["mass", "drift"]
    assert due == [Ended("yard", trial.id, provisional=False)]
    with pytest.raises(RequestError, match="with the newest calibration of bench yard already"):
        recalibrate(store, trial.id, "Ana", as_recorded=False)
    recalibrate(store, trial.id, "Ana", as_recorded=True)
    assert store.trial(trial.id).bench_text == trial.bench_text


def test_an_open_trial_and_an_import_are_not_read_again(store: Store) -> None:
    running, imported = entered(store, ended=False), entered(store, origin="import")
    finding = store.add_finding("yard", "mass", MASS, "Ana")
    with pytest.raises(RequestError, match="is open: end it first"):
        recalibrate(store, running.id, "Ana", as_recorded=False)
    with pytest.raises(RequestError, match=r"was imported.*import it again"):
        text_with(imported, [finding])


def test_a_lane_is_what_calibrations_expect(lane: Yard) -> None:
    bench: CalibratedBench = lane
    assert bench.bench_id == "yard"
