"""The command `card`, and the card of a comparison."""

import io
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from emberline.app import STORE_NAME
from emberline.app.importing import import_burn
from emberline.cli import main
from unit.app.small_burn import NOON_NS, burn


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with one small burn."""
    folder = tmp_path_factory.mktemp("cards")
    (folder / "burn.csv").write_text(burn())
    import_burn(folder / "burn.csv", folder / "data", now_ns=lambda: NOON_NS)
    assert (folder / "data" / STORE_NAME).exists()
    return folder / "data"


@pytest.mark.parametrize(("options", "size"), [([], (1920, 1080)), (["--square"], (1080, 1080))])
def test_a_card_is_drawn(data: Path, tmp_path: Path, options: list[str], size: tuple[int, int]) -> None:
    target = tmp_path / "card.png"
    said = CliRunner().invoke(main, ["card", "last", "--to", str(target), *options, "--data", str(data)])
    assert said.exit_code == 0, said.output
    assert Image.open(io.BytesIO(target.read_bytes())).size == size


@pytest.mark.parametrize(
    ("name", "code", "why"),
    [
        ("card.gif", 5, ".png, .svg or .pdf"),
        ("there.png", 5, "--overwrite"),
        ("none/card.png", 5, "there is no folder"),
    ],
)
def test_what_cannot_be_written_is_refused_in_words(data: Path, tmp_path: Path, name: str, code: int, why: str) -> None:
    (tmp_path / "there.png").write_bytes(b"kept")
    said = CliRunner().invoke(main, ["card", "last", "--to", str(tmp_path / name), "--data", str(data)])
    assert said.exit_code == code
    assert why in " ".join(said.output.split())
    assert (tmp_path / "there.png").read_bytes() == b"kept"
