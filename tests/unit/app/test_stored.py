from dataclasses import replace
from pathlib import Path

import pytest

from emberline import app
from emberline.app.stored import local_zone


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
