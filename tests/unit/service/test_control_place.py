import os
import tempfile
from pathlib import Path

import pytest

from emberline.service.control_place import LONGEST, socket_path
from emberline.service.errors import ServiceError


def test_a_short_folder_holds_its_own_socket(tmp_path: Path) -> None:
    with tempfile.TemporaryDirectory() as folder:
        assert socket_path(Path(folder)) == Path(folder).resolve() / "control.sock"


def test_a_long_folder_has_it_where_the_system_can_take_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    deep = tmp_path / ("x" * 100)
    deep.mkdir()
    with tempfile.TemporaryDirectory() as runtime:
        monkeypatch.setenv("XDG_RUNTIME_DIR", runtime)
        path = socket_path(deep)
        assert path.parent == Path(runtime)
        assert len(os.fsencode(path)) <= LONGEST
        assert path == socket_path(deep / "." / "")
        other = tmp_path / ("y" * 100)
        assert socket_path(other) != path


def test_without_a_runtime_folder_a_private_one_is_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    with tempfile.TemporaryDirectory() as temporary:
        monkeypatch.setattr(tempfile, "gettempdir", lambda: temporary)
        path = socket_path(tmp_path / ("x" * 100))
        assert path.parent.parent == Path(temporary)
        assert path.parent.stat().st_mode & 0o077 == 0
        path.parent.chmod(0o755)
        with pytest.raises(ServiceError, match="not yours alone"):
            socket_path(tmp_path / ("x" * 100))
