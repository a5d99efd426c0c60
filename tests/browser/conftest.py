"""One browser a module.

The tests of a module share its event loop: `pytestmark = pytest.mark.asyncio(loop_scope="module")`.
"""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from browser_fixture import a_browser, artifacts_folder


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def browser() -> AsyncIterator[Browser]:
    """Return a browser."""
    async with a_browser() as browser:
        yield browser


@pytest.fixture(scope="session")
def artifacts(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return where screenshots are kept."""
    return artifacts_folder(tmp_path_factory.getbasetemp() / "screenshots")
