import asyncio
import sys

import pytest

from emberline.service.processes import end_process

DEAF = (
    "import signal, sys, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('up', flush=True); time.sleep(60)"
)
WILLING = "import time; print('up', flush=True); time.sleep(60)"


@pytest.mark.parametrize(("program", "limit_s", "signal"), [(WILLING, 30.0, -15), (DEAF, 0.05, -9)])
async def test_a_process_is_gone_afterwards(program: str, limit_s: float, signal: int) -> None:
    process = await asyncio.create_subprocess_exec(sys.executable, "-c", program, stdout=asyncio.subprocess.PIPE)
    assert process.stdout is not None
    assert await process.stdout.readline() == b"up\n"
    await end_process(process, limit_s)
    assert process.returncode == signal
    await end_process(process, limit_s)
    assert process.returncode == signal
