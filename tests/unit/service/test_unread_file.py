"""Messages that could not be read, kept while there is room."""

import base64
import json
from pathlib import Path

import pytest

from emberline.service import unread_file
from emberline.service.unread_file import UnreadFile


def rows(file: UnreadFile) -> list[dict[str, object]]:
    return [json.loads(line) for line in file.path.read_text().splitlines()]


def test_a_message_is_kept_with_time_topic_and_reason(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    file = UnreadFile(tmp_path, "yard")
    file.keep(5, "t/up", b"\0junk", "no frame")
    file.keep(6, "t/up", b"", "no frame")
    first, second = rows(file)
    assert first == {"time_ns": 5, "topic": "t/up", "why": "no frame", "payload": base64.b64encode(b"\0junk").decode()}
    assert second["payload"] == ""
    assert caplog.text.count("kept in") == 1


def test_the_file_stays_small_over_restarts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(unread_file, "MOST_BYTES", 1_000)
    for _ in range(3):
        file = UnreadFile(tmp_path, "yard")
        for index in range(20):
            file.keep(index, "t/up", bytes(60), "no frame")
    assert file.path.stat().st_size <= 1_000
    assert len(rows(file)) > 3
    assert "is full" in caplog.text


def test_a_disk_that_refuses_does_no_harm(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    file = UnreadFile(tmp_path / "nowhere", "yard")
    file.keep(1, "t/up", b"x", "no frame")
    file.keep(2, "t/up", b"x", "no frame")
    assert caplog.text.count("cannot write") == 1
