from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from emberline.app import Summary
from emberline.cli.terminal import show_summary, show_trials
from emberline.store.records import Trial

TRIAL = Trial("2025-11-25-1", "b", "chips", "import", "burn.csv", 0, 10, "UTC", True, (), 0, "", "")


def document() -> dict[str, Any]:
    result = {"value": 402.04, "u": 1.7, "unit": "s", "interval_95": [398.6, 405.4], "budget": {}}
    return {
        "label": "chips",
        "events": [
            {
                "kind": "lit",
                "t_s": 60.0,
                "u_s": 2.0,
                "announced_t_s": None,
                "evidence": "mass falls [fast]",
                "size_g": None,
                "confirmed": True,
            },
            {
                "kind": "pot_off",
                "t_s": 702.0,
                "u_s": 0.5,
                "announced_t_s": 712.0,
                "evidence": "a step",
                "size_g": -812.04,
                "confirmed": False,
            },
        ],
        "retracted": [{"kind": "flameout", "announced_t_s": 360.0, "retracted_t_s": 380.0, "why": "it came back"}],
        "results": {"time_to_boil": result, "thermal_efficiency": {**result, "value": 0.27, "u": 0.01, "unit": ""}},
        "absent": {"char_left": "nobody weighed it"},
        "quality": [{"code": "wind", "text": "It was windy."}],
    }


def summary(**changes: Any) -> Summary:
    return Summary(TRIAL, document() | changes, Path("data/trials/2025-11-25-1"))


def test_a_summary_in_plain_lines(capsys: pytest.CaptureFixture[str]) -> None:
    show_summary(summary())
    out = capsys.readouterr().out
    lines = out.splitlines()
    assert lines[0] == "Trial 2025-11-25-1  chips"
    assert "relative" in lines[1]
    assert any("lit" in line and "0:00 ± 4 s" in line and "mass falls [fast]" in line for line in lines)
    assert any("pot off (unconfirmed)" in line and "10:42" in line and "−812.0 g" in line for line in lines)
    assert "announces flameout at 5:00 and takes it back at 5:20: it came back" in out
    assert any(line.split() == ["Time", "to", "boil", "402.0", "±", "3.3", "s"] for line in lines)
    assert any(line.startswith("Thermal efficiency") and "27.0 ± 2.0 %" in line for line in lines)
    assert any(line.startswith("Char left") and "absent: nobody weighed it" in line for line in lines)
    assert any(line.startswith("Mean firepower") and "absent: not worked out" in line for line in lines)
    assert "Note: It was windy." in out
    assert "± is half the width of the 95 % interval" in out
    assert "carbon monoxide" in out
    assert "summary.html" in out
    assert "\x1b" not in out
    assert all(line == line.rstrip() for line in lines)


def test_a_summary_without_events(capsys: pytest.CaptureFixture[str]) -> None:
    show_summary(summary(events=[], retracted=[], results={}, label=None))
    out = capsys.readouterr().out
    assert "No events were found." in out
    assert out.splitlines()[0] == "Trial 2025-11-25-1"


def test_without_lit_times_count_from_the_start_of_the_record(capsys: pytest.CaptureFixture[str]) -> None:
    show_summary(summary(events=document()["events"][1:], retracted=[]))
    out = capsys.readouterr().out
    assert "from the start" in out
    assert "11:42" in out


def test_an_uncertainty_that_is_not_known_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    lone: dict[str, Any] = {"value": 3.25, "u": None, "unit": "g", "interval_95": [None, None], "budget": {}}
    show_summary(summary(results={"char_left": lone}))
    assert "uncertainty not known" in capsys.readouterr().out


def test_a_trial_that_a_person_changed_or_excluded_is_flagged(capsys: pytest.CaptureFixture[str]) -> None:
    entry = {"number": 1, "do": "move", "undone_by": None}
    out = {"why": "a door stood open", "who": "Ben", "made": "2025-11-25T12:00:00Z"}
    corrected = document() | {"corrections": [entry], "excluded": out}
    undone = document() | {"corrections": [entry | {"undone_by": 2}, entry | {"do": "undo"}], "excluded": None}
    show_trials([(TRIAL, corrected), (TRIAL, undone)])
    first, second = (line for line in capsys.readouterr().out.splitlines() if line.startswith("2025-11-25-1"))
    assert "(corrected)" in first
    assert "(excluded: a door" in first
    assert "corrected" not in second
    show_summary(summary(corrections=[entry], excluded=out))
    told = capsys.readouterr().out
    assert "Excluded, does not count: a door stood open (Ben)" in told
    assert "Corrected by a person, 1 entry" in told


def test_the_list_of_trials(capsys: pytest.CaptureFixture[str]) -> None:
    show_trials([(TRIAL, document()), (TRIAL, None)])
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split()[:3] == ["trial", "began", "label"]
    assert "402.0 ± 3.3 s" in lines[1]
    assert lines[2].split() == ["2025-11-25-1", "–", "chips", "–", "–", "–", "–"]
    show_trials([(replace(TRIAL, label="chips " * 40), None)])
    assert len(capsys.readouterr().out.splitlines()) == 2, "another program reads a trial a line"
    show_trials([])
    assert "No trials yet" in capsys.readouterr().out
