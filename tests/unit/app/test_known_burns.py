from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest

from emberline import app
from emberline.app.known_burns import known_recording
from emberline.bench.channels import Role
from emberline.links.replay import Recording, read_recording
from unit.app.small_burn import NOON_NS


@pytest.fixture
def again(imported: tuple[Path, app.Summary]) -> Recording:
    return read_recording(imported[0] / "burn.csv", None, origin_ns=NOON_NS + 77, zone=UTC)


def test_readings_are_known_whenever_and_however_often_they_come(
    imported: tuple[Path, app.Summary], again: Recording, tmp_path: Path
) -> None:
    store = imported[0] / "data" / app.STORE_NAME
    assert known_recording(store, again, "") == imported[1].trial
    assert known_recording(tmp_path / "none.sqlite3", again, "") is None


def test_one_reading_more_or_another_value_is_not_known(imported: tuple[Path, app.Summary], again: Recording) -> None:
    store = imported[0] / "data" / app.STORE_NAME
    mass = again.batches[Role.MASS]
    raw = mass.raw.copy()
    raw[100] += 0.01
    other = replace(again, batches={**again.batches, Role.MASS: replace(mass, raw=raw)})
    fewer = replace(again, batches={Role.MASS: mass})
    assert known_recording(store, other, "") is None
    assert known_recording(store, fewer, "") is None
    assert known_recording(store, replace(again, relative=False), "") is None
    assert known_recording(store, again, "id = 'yard'") is None
