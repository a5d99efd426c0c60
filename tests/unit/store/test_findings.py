import sqlite3
from collections.abc import Callable

import pytest

from emberline.bench.drift_fit import DriftFit
from emberline.bench.errors import CalibrationError
from emberline.bench.findings import CellCheck
from emberline.store.errors import UnknownTrialError
from emberline.store.records import Trial
from emberline.store.store import Store
from unit.store.made_up import NOON_NS

DRIFT = DriftFit(0.12, 0.01, 18.0, 12.0, 0.05, None, 0.3)
CHECK = CellCheck(1000.0, 0.1, 999.6, 0.2, False)


def entered(store: Store, bench_text: str = "first") -> Trial:
    return store.create_trial(
        bench="yard", start_ns=NOON_NS, zone="UTC", bench_text=bench_text, plan_text="", label=None
    )


def test_everything_found_is_kept_in_order_and_by_bench(store: Store) -> None:
    first = store.add_finding("yard", "mass", DRIFT, "Ana")
    second = store.add_finding("yard", "mass", CHECK, "Ben")
    store.add_finding("shed", "mass", CHECK, "Ana")
    assert store.findings("yard") == [first, second]
    assert (first.number, second.number) == (1, 2)
    assert (second.who, second.found) == ("Ben", CHECK)
    assert store.findings("cellar") == []


def test_a_trial_is_read_with_the_last_calibration_and_keeps_its_own(store: Store) -> None:
    trial = entered(store)
    store.save_summary(trial.id, "{}", "1.0", "")
    store.recalibrate(trial.id, "later", "Ana")
    assert store.trial(trial.id).bench_text == "later"
    assert [one.bench_text for one in store.trials()] == ["later"]
    kept = store.summary(trial.id)
    assert kept is not None
    assert kept.version == ""
    store.recalibrate(trial.id, "latest", "Ana")
    assert store.trial(trial.id).bench_text == "latest"
    store.recalibrate(trial.id, None, "Ana")
    assert store.trial(trial.id).bench_text == "first"


def test_the_other_trials_stay_as_they_are(store: Store) -> None:
    one, other = entered(store), entered(store)
    store.recalibrate(one.id, "later", "Ana")
    assert store.trial(other.id).bench_text == "first"


def test_a_trial_without_a_bench_file_has_none_to_go_back_to(store: Store) -> None:
    trial = entered(store, "")
    store.recalibrate(trial.id, None, "Ana")
    assert store.trial(trial.id).bench_text == ""


def test_an_unknown_trial_is_refused(store: Store) -> None:
    with pytest.raises(UnknownTrialError):
        store.recalibrate("2026-01-01-1", "later", "Ana")


def test_what_another_version_kept_is_refused_with_a_sentence(store: Store, spoil: Callable[[str], None]) -> None:
    store.add_finding("yard", "mass", DRIFT, "Ana")
    spoil('UPDATE findings SET document = \'{"g_per_k": "much"}\'')
    with pytest.raises(CalibrationError, match="this is no drift calibration as this version keeps it"):
        store.findings("yard")


@pytest.fixture
def spoil(store: Store) -> Callable[[str], None]:
    def do(sql: str) -> None:
        with sqlite3.connect(store.path) as connection:
            connection.execute(sql)
        connection.close()

    return do
