"""The command `link`."""

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from emberline.cli import main
from emberline.service import control_client
from emberline.web.door import token_of


def run(folder: Path, address: str | None, monkeypatch: pytest.MonkeyPatch) -> Result:
    def ask(_: Path, request: dict[str, Any]) -> dict[str, Any]:
        assert request == {"do": "health"}
        return {"health": {"address": address}}

    monkeypatch.setattr(control_client, "ask", ask)
    return CliRunner().invoke(main, ["link", "--data", str(folder)])


def test_a_link_for_others_has_the_token(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said = run(tmp_path, "http://192.0.2.7:8437/health", monkeypatch)
    assert said.output == f"http://192.0.2.7:8437/?token={token_of(tmp_path)}\n"


def test_a_link_for_this_machine_has_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said = run(tmp_path, "http://127.0.0.1:8437/health", monkeypatch)
    assert said.stdout == "http://127.0.0.1:8437/\n"
    assert "Only this machine can open it" in said.stderr


def test_without_pages_it_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said = run(tmp_path, None, monkeypatch)
    assert said.exit_code == 6
    assert "no pages are served" in said.output
