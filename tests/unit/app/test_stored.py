from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from emberline import app
from emberline.app.stored import MOST_GAPS_NAMED, doubts, local_zone, losses, past_alarms
from emberline.bench.samples import FLAG_ARRIVAL_STAMPED, FLAG_FAULT, FLAG_UNCHECKED
from emberline.store.records import StoredAlarm
from emberline.store.store import Store
from emberline.trials.alarms.alarm import PastAlarm
from unit.store.made_up import NOON_NS, SECOND_NS, batch, gap


def test_when_a_trial_began(imported: tuple[Path, app.Summary]) -> None:
    trial = imported[1].trial
    assert app.started(trial) is None
    dated = replace(trial, relative=False, zone="Europe/Vienna")
    assert app.started(dated) == "2025-11-25 13:00:00 (Europe/Vienna)"


def test_the_zone_comes_from_the_environment_or_the_system(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Europe/Vienna")
    assert local_zone() == "Europe/Vienna"
    monkeypatch.setenv("TZ", "nonsense")
    assert local_zone() != "nonsense"
    monkeypatch.delenv("TZ")
    assert local_zone()


def test_each_gap_of_a_trial_is_told_with_start_end_and_cause(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s", lambda: NOON_NS) as store:
        trial = store.create_trial(bench="yard", start_ns=NOON_NS)
        gaps = [gap(30, 50), gap(80, 81), gap(30, 50, channel="water", reason="the device restarted")]
        store.commit("yard", [batch(0, 30), batch(50, 30), batch(81, 10)], gaps)
        assert losses(store, trial) == [
            "21 samples of channel mass were lost (2.9 to 5.0 s, 7.9 to 8.1 s): link lost.",
            "20 samples of channel water were lost (2.9 to 5.0 s): the device restarted.",
        ]


def test_of_many_gaps_the_first_are_named_and_the_others_counted(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s", lambda: NOON_NS) as store:
        trial = store.create_trial(bench="yard", start_ns=NOON_NS)
        store.commit("yard", [], [gap(20 * n, 20 * n + 2) for n in range(1, MOST_GAPS_NAMED + 6)])
        (told,) = losses(store, trial)
        assert told.count(" to ") == MOST_GAPS_NAMED
        assert "and 5 gaps more" in told


def test_alarms_are_told_in_seconds_of_the_trial_while_it_ran(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s", lambda: NOON_NS) as store:
        trial = store.create_trial(bench="yard", start_ns=NOON_NS)
        hot = StoredAlarm("yard", "cell_hot", NOON_NS + 5 * SECOND_NS, "71 °C", None, NOON_NS + 9 * SECOND_NS, "Ana")
        after = replace(hot, raised_ns=NOON_NS + 90 * SECOND_NS, acknowledged_ns=None, acknowledged_by="")
        store.keep_alarms([hot, after])
        assert [alarm.t_s for alarm in past_alarms(store, trial)] == [5.0, 90.0]
        store.end_trial(trial.id, NOON_NS + 60 * SECOND_NS)
        ended = store.trial(trial.id)
        assert past_alarms(store, ended) == [PastAlarm("cell_hot", 5.0, "71 °C", None, 9.0, "Ana")]
        # A table that somebody imports has the time of a recorded one only by chance.
        assert past_alarms(store, replace(ended, origin="import", source="burn.csv")) == []


def test_readings_without_checksum_or_time_are_told_to_be_so() -> None:
    def codes(*flags: int) -> list[str]:
        marked = [replace(batch(0, 3), flags=np.array([0, one, 0], dtype=np.uint8)) for one in flags]
        return [note.code for note in doubts(marked)]

    assert codes() == codes(0, FLAG_FAULT) == []
    assert codes(0, FLAG_UNCHECKED | FLAG_FAULT) == ["unchecked"]
    assert codes(FLAG_ARRIVAL_STAMPED) == ["arrival_stamped"]
    assert codes(FLAG_ARRIVAL_STAMPED, FLAG_UNCHECKED) == ["unchecked", "arrival_stamped"]
