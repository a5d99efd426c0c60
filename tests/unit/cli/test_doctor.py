"""What the doctor's command shows; whole examinations are in tests/system/test_doctor.py."""

import io
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from emberline.app.examining import Examination, Examined, Report
from emberline.bench.channels import Role
from emberline.cli.doctor import show_report, touch_each
from emberline.curves.checkup.findings import findings_of
from emberline.curves.checkup.signal import Nature, Signal, measured
from emberline.curves.checkup.touch import Touched


def examined(scale: float = 1.0 / 420.0, role: Role | None = Role.MASS, reason: str = "it is called mass") -> Examined:
    raw = 84_000.0 + 420.0 * 950.0 + np.random.default_rng(1).normal(0.0, 60.0, 100)
    signal = Signal("scale", Nature.BRIDGE, np.arange(100) / 10.0, np.rint(raw), scale, 84_000.0, "g", True)
    return Examined("scale", role, reason, signal, measured(signal))


def shown(capsys: pytest.CaptureFixture[str], one: Examined) -> str:
    show_report(Report("frames from yard", (one,), tuple(findings_of(one.signal)), ("Nobody uses 3.",)))
    return capsys.readouterr().out


def test_a_channel_is_shown_raw_and_in_its_unit(capsys: pytest.CaptureFixture[str]) -> None:
    out = shown(capsys, examined())
    assert "It sends frames from yard." in out
    assert "Nobody uses 3." in out
    row = next(line for line in out.splitlines() if line.startswith("scale"))
    assert "483,0" in row or "482,9" in row
    assert "950.0 g" in row
    assert row.rstrip().endswith("none")
    assert "Nothing is surely wrong" in out


def test_counts_are_shown_as_such_with_what_to_do(capsys: pytest.CaptureFixture[str]) -> None:
    out = shown(capsys, examined(float("nan"), reason="a guess: 483,000 looks like counts of a load cell"))
    assert "counts" in out
    assert "! scale: not calibrated." in out
    assert "Calibrate it before the first burn: emberline calibrate mass." in out
    assert "scale is taken for mass, a guess: 483,000 looks like counts of a load cell. --column says otherwise." in out


def test_a_channel_of_which_nobody_can_tell_what_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert "--column ROLE=scale says it" in shown(capsys, examined(role=None, reason=""))


@pytest.mark.parametrize(
    ("typed", "told"), [("\n", "! mass (scale) does not answer."), ("s\n", "Press gently on load cell mass (scale)")]
)
def test_each_channel_is_touched_or_skipped(
    typed: str, told: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    answers: Any = SimpleNamespace(touch=lambda name, seconds, told: Touched(name, False, "does not answer"))
    touch_each(cast(Examination, answers), Report("", (examined(),), (), ()))
    out = capsys.readouterr().out
    assert told in out
    assert ("does not answer" in out) == (typed == "\n")
