"""Messages whose readings have no numbers: numbered, handed to ingest, acknowledged once all of them are on disk."""

import asyncio
import logging
from collections.abc import Sequence
from dataclasses import dataclass

from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Unnumbered
from emberline.service.ingest import TRY_AGAIN_S, Ingest, IngestCounts
from emberline.service.numbering import Numbering
from emberline.store.errors import StoreClosedError, StoreError

LOG = logging.getLogger(__name__)


@dataclass
class UnnumberedIn:
    """The way of such messages into the store.

    Attributes:
        numbering: Numbers them.
        ingest: Takes them on.
        counts: Where repeats are counted.
    """

    numbering: Numbering
    ingest: Ingest
    counts: IngestCounts

    async def take(self, parts: Sequence[Unnumbered]) -> None:
        """Take in the readings of one message, all with the same teller; waits while the store has enough to do.

        Raises:
            StoreClosedError: The store was closed.
        """
        batches: list[SampleBatch] = []
        for part in parts:
            batch = await self._numbered(part)
            self.counts.repeated += len(part.t_ns) - (0 if batch is None else len(batch))
            if batch is not None:
                batches.append(batch)
        if batches:
            await self.ingest.put(parts[0].teller, batches)
        else:
            parts[0].teller.committed(0, {})

    async def _numbered(self, readings: Unnumbered) -> SampleBatch | None:
        """Number readings, and try again for as long as the store cannot be read; the source waits meanwhile."""
        while True:
            try:
                return await self.numbering.numbered(readings)
            except StoreClosedError:
                raise
            except StoreError as error:
                if str(error) != self.counts.trouble:
                    LOG.error("what is stored cannot be looked up: %s", error)
                await asyncio.sleep(TRY_AGAIN_S)
