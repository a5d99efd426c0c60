from pathlib import Path

import pytest

from emberline import app
from emberline.app.figures import draw_figure
from emberline.store.errors import ExportError, UnknownTrialError


def test_one_trial_or_several_are_drawn(imported: tuple[Path, app.Summary], tmp_path: Path) -> None:
    data, stages = imported[0] / "data", list[str]()
    draw_figure(data, ["last"], tmp_path / "one.pdf", stage=stages.append)
    draw_figure(data, ["last", imported[1].trial.id], tmp_path / "two.svg", by="holes", narrow=True)
    assert (tmp_path / "one.pdf").read_bytes().startswith(b"%PDF")
    assert "holes not given" not in (tmp_path / "two.svg").read_text(), "one group needs no key"
    assert len(stages) == 1


def test_what_cannot_be_drawn_is_told(imported: tuple[Path, app.Summary], tmp_path: Path) -> None:
    data = imported[0] / "data"
    with pytest.raises(ExportError, match=r"\.png, \.svg or \.pdf"):
        draw_figure(data, ["last"], tmp_path / "one.gif")
    with pytest.raises(UnknownTrialError):
        draw_figure(data, ["none"], tmp_path / "one.pdf")
    (tmp_path / "one.pdf").touch()
    with pytest.raises(ExportError, match="--overwrite"):
        draw_figure(data, ["last"], tmp_path / "one.pdf")
