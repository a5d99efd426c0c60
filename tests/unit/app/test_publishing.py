"""Files that a page lets a person take away."""

import io
import zipfile
from pathlib import Path

import pytest
from PIL import Image

from emberline import app
from emberline.app.publishing import published


@pytest.mark.parametrize(("name", "size"), [("card.png", (1920, 1080)), ("card-square.png", (1080, 1080))])
def test_a_card_has_the_size_that_its_name_says(
    imported: tuple[Path, app.Summary], name: str, size: tuple[int, int]
) -> None:
    folder, summary = imported
    assert Image.open(io.BytesIO(published(folder / "data", summary.trial.id, name))).size == size


def test_a_pack_holds_everything(imported: tuple[Path, app.Summary]) -> None:
    folder, summary = imported
    with zipfile.ZipFile(io.BytesIO(published(folder / "data", summary.trial.id, "burn.zip"))) as pack:
        assert {"trial.json", "samples.csv", "plan.toml", "summary.html", "curves.csv"} <= set(pack.namelist())
