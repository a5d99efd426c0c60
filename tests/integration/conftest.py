"""Several packages together, many of them in asyncio."""

from live_fixture import no_worker_left as no_worker_left
