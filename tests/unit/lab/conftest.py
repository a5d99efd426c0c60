from pathlib import Path

import pytest

from lab_fixture import fill


@pytest.fixture(scope="session")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return fill(tmp_path_factory.mktemp("lab"))
