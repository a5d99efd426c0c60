"""Whole programs, asked from asyncio."""

from live_fixture import no_worker_left as no_worker_left
