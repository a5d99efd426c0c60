"""What `emberline summary` opens; the commands about burns as they are used are in tests/system/test_commands.py."""

import webbrowser
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from emberline.app.importing import import_burn
from emberline.cli import main
from unit.app.small_burn import NOON_NS, burn


@pytest.mark.parametrize(("there", "said"), [(True, False), (False, True)])
def test_a_browser_that_cannot_be_started_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, there: bool, said: bool
) -> None:
    opened = []

    def tried(address: str) -> bool:
        opened.append(address)
        return there

    monkeypatch.setattr(webbrowser, "open", tried)
    (tmp_path / "burn.csv").write_text(burn())
    trial = import_burn(tmp_path / "burn.csv", tmp_path / "data", now_ns=lambda: NOON_NS).trial.id
    told: Result = CliRunner().invoke(main, ["summary", "last", "--open", "--data", str(tmp_path / "data")])
    page = tmp_path / "data" / "trials" / trial / "summary.html"
    assert (told.exit_code, told.stdout, opened) == (0, f"{page}\n", [page.as_uri()])
    assert ("open that file in one yourself" in told.stderr) is said
