import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from emberline.app import keeping
from emberline.cli import main
from emberline.service import control_client
from emberline.store.store import Store
from unit.store.made_up import batch

YARD: dict[str, Any] = {
    "bench": "yard",
    "recording": "recording with gaps",
    "since": "2026-11-25T12:00:00.000Z",
    "since_s": 65.0,
    "why": "7 samples were lost",
    "link": "streaming",
    "last_commit": "2026-11-25T12:01:04.500Z",
    "last_commit_age_s": 0.5,
    "trial": None,
    "samples": {"stored": 12_345, "repeated": 3, "lost": 7},
}
DOCUMENT: dict[str, Any] = {
    "schema": "emberline.health/2",
    "time": "2026-11-25T12:01:05.000Z",
    "recording": "recording with gaps",
    "since": "2026-11-25T12:00:00.000Z",
    "since_s": 65.0,
    "why": "7 samples were lost",
    "benches": [YARD],
    "warnings": ["only 70 MB are left"],
    "notices": [{"time": "2026-11-25T11:00:00.000Z", "kind": "clock set", "text": "The clock was set."}],
    "store_bytes": 1_500_000,
    "journal_bytes": 0,
    "disk_free_bytes": 70_000_000,
    "address": "http://127.0.0.1:8437/health",
}


def status(monkeypatch: pytest.MonkeyPatch, document: dict[str, Any], *options: str) -> tuple[int, str]:
    monkeypatch.setattr(control_client, "ask", lambda *_: {"health": document})
    done = CliRunner().invoke(main, ["status", *options], catch_exceptions=False)
    return done.exit_code, done.stdout


def test_the_first_line_says_the_state_its_beginning_and_its_cause(monkeypatch: pytest.MonkeyPatch) -> None:
    code, out = status(monkeypatch, DOCUMENT)
    lines = out.splitlines()
    assert code == 0
    assert lines[0].startswith("Recording with gaps since 2026-11-25 ")
    assert lines[0].endswith("(1 min 5 s): 7 samples were lost")
    assert not any(line.startswith("Bench") for line in lines), "one bench needs no line of its own"
    assert "stored 12,345, sent twice 3, lost 7" in out
    assert "See to this: only 70 MB are left" in out
    assert lines[-1].endswith(": The clock was set.")


def test_not_recording_has_an_exit_code_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    stuck = {**YARD, "bench": "shed", "recording": "not recording", "why": "the disk is full", "last_commit": None}
    document = {**DOCUMENT, "recording": "not recording", "benches": [YARD, stuck], "address": None}
    code, out = status(monkeypatch, document)
    assert code == 7
    assert out.startswith("Not recording since 2026-11-25 ")
    assert "Bench yard: recording with gaps since" in out
    assert "Bench shed: not recording since" in out


def test_json_is_the_document(monkeypatch: pytest.MonkeyPatch) -> None:
    code, out = status(monkeypatch, DOCUMENT, "--json")
    assert (code, json.loads(out)) == (0, DOCUMENT)


def test_without_a_daemon_it_says_how_to_start_one(tmp_path: Path) -> None:
    with Store.open(tmp_path / "emberline.sqlite3") as store:
        store.commit("b", [batch(0, 10)])
    done = CliRunner().invoke(main, ["status", "--data", str(tmp_path)])
    assert done.exit_code == 6
    assert "emberline run" in done.stdout
    assert "The newest stored reading is of 2025-11-25" in done.stdout
    done = CliRunner().invoke(main, ["status", "--json", "--data", str(tmp_path)])
    assert json.loads(done.stdout)["recording"] == "not recording"


def test_a_backup_says_its_size(tmp_path: Path) -> None:
    with Store.open(tmp_path / "emberline.sqlite3") as store:
        store.commit("b", [batch(0, 10)])
    words = ["backup", str(tmp_path / "copy"), "--data", str(tmp_path)]
    said = CliRunner().invoke(main, words).stdout
    assert f"{(tmp_path / 'copy').stat().st_size / 1e6:.1f} MB, checked" in said
    assert CliRunner().invoke(main, words).exit_code == 5
    assert CliRunner().invoke(main, [*words, "--overwrite"]).exit_code == 0
    assert CliRunner().invoke(main, ["check", str(tmp_path / "copy")]).stdout.endswith("trials: 0, samples: 10\n")
    (tmp_path / "copy").write_bytes(b"SQLite format 3\0" + b"x" * 5000)
    assert CliRunner().invoke(main, ["check", str(tmp_path / "copy")]).exit_code == 4
    assert keeping.is_store(tmp_path / "copy") is not None
