"""The end that comes in any case: a program that was told to end, and whose disk or driver hangs, is ended by force.

What was not committed by then was not acknowledged either, and is sent again to whoever comes next.
"""

import logging
import os
import threading

LOG = logging.getLogger(__name__)

END_LIMIT_S = 10.0
TELL_LIMIT_S = 0.5
"""The log may lie on the disk that hangs."""
ENDED_BY_FORCE = 6


def end_in_any_case(limit_s: float = END_LIMIT_S) -> None:
    """Have this process end after a limit (real seconds) with exit code 6, unless it has ended by itself before.

    A thread that waits for a hung disk cannot be cancelled, and the interpreter waits for it without end.
    """
    timer = threading.Timer(limit_s, _end, (limit_s,))
    timer.daemon = True
    timer.name = "last resort"
    timer.start()


def _end(limit_s: float) -> None:
    words = f"the program did not end within {limit_s:.0f} s and is ended by force: does its disk or its port hang?"
    telling = threading.Thread(target=LOG.error, args=(words,), daemon=True)
    telling.start()
    telling.join(TELL_LIMIT_S)
    os._exit(ENDED_BY_FORCE)
