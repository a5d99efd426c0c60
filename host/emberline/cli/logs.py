"""Where the log of a command goes."""

import logging
from logging.handlers import RotatingFileHandler
from pathlib import Path

LARGEST_BYTES = 1_000_000
KEPT = 3


def log_to(path: Path | None) -> None:
    """Log to standard error, which a service's journal keeps, or into a file that is kept small."""
    handler: logging.Handler
    if path is None:
        handler = logging.StreamHandler()
    else:
        path.parent.mkdir(parents=True, exist_ok=True)
        handler = RotatingFileHandler(path, maxBytes=LARGEST_BYTES, backupCount=KEPT, encoding="utf-8")
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    # Whoever sends a damaged form is told so; this library tells the service's own output as well.
    logging.getLogger("python_multipart").setLevel(logging.CRITICAL)
    root = logging.getLogger("emberline")
    root.setLevel(logging.INFO)
    root.handlers = [handler]
