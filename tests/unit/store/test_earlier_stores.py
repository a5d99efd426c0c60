"""A store of every earlier version comes up to date with all that it held."""

import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from emberline.store.errors import StoreVersionError
from emberline.store.reader import StoreReader
from emberline.store.schema import migrations, version_of
from emberline.store.store import Store
from unit.store.made_up import batch, numbers

FOLDER = Path(__file__).parent / "earlier_stores"
VERSIONS = range(1, len(migrations()))


def earlier(version: int, path: Path) -> Path:
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((FOLDER / f"version-{version}.sql").read_text(encoding="utf-8"))
    return path


def test_a_store_of_each_earlier_version_is_at_hand() -> None:
    assert sorted(one.name for one in FOLDER.iterdir()) == [f"version-{number}.sql" for number in VERSIONS]


@pytest.mark.parametrize("version", VERSIONS)
def test_it_comes_up_to_date_and_keeps_everything(tmp_path: Path, version: int) -> None:
    path = earlier(version, tmp_path / "s")
    with pytest.raises(StoreVersionError, match="older"):
        StoreReader(path).trials()
    with Store.open(path) as store:
        (trial,) = store.trials()
        assert (trial.label, trial.zone, trial.remarks) == ("three handfuls", "Europe/Oslo", ("a remark",))
        assert trial.plan_text == 'label = "three handfuls"\n'
        assert 'role = "mass"' in trial.bench_text
        mass = [one for one in store.trial_batches(trial) if one.channel == "mass"]
        assert numbers(mass) == [*range(20), *range(25, 40)]
        assert [one.raw.tobytes() for one in mass] == [batch(0, 20).raw.tobytes(), batch(25, 15).raw.tobytes()]
        (gap,) = store.gaps("shed")
        assert (gap.first_seq, gap.next_seq, gap.reason) == (20, 25, "the cable was out")
        assert [(one.kind.value, one.announced_t_s) for one in store.events(trial.id)] == [
            ("lit", 9.0),
            ("refuel", None),
        ]
        assert [one.why for one in store.retractions(trial.id)] == ["it fell back"]
        assert [one.text for one in store.notes("shed")] == ["closed a hole"]
        summary = store.summary(trial.id)
        assert summary is not None
        assert (summary.version, summary.behind) == ("0.1.0", False)
        assert store.pasts(["shed"])["shed"].unfinished == ()
        assert store.outbox_cursor("archive") == 1
        assert store.commit("shed", [batch(25, 20)]).repeated == 15
    with closing(sqlite3.connect(tmp_path / f"s.version-{version}")) as copy:
        assert version_of(copy) == version


KILLED = """
import os, signal, sqlite3, sys
from pathlib import Path
from emberline.store.schema import migrate
path, after = Path(sys.argv[1]), int(sys.argv[2])
connection = sqlite3.connect(path, isolation_level=None)
statements = 0
def count(_):
    global statements
    statements += 1
    if statements > after:
        os.kill(os.getpid(), signal.SIGKILL)
connection.set_trace_callback(count)
migrate(connection, path)
print("done")
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no SIGKILL here")
@pytest.mark.parametrize("after", [0, 4, 5, 6, 7, 8])
def test_a_kill_in_the_middle_of_it_does_no_harm(tmp_path: Path, after: int) -> None:
    path = earlier(1, tmp_path / "s")
    done = subprocess.run([sys.executable, "-c", KILLED, str(path), str(after)], capture_output=True, timeout=30)
    assert done.returncode == -signal.SIGKILL, done.stderr
    with Store.open(path) as store:
        assert [trial.label for trial in store.trials()] == ["three handfuls"]
        assert store.notices() == []
