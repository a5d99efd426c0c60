"""Messages whose readings have no numbers: numbered, handed to ingest, acknowledged once all of them are on disk."""

import asyncio
import logging
from collections.abc import Sequence
from dataclasses import dataclass

from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Lost, Missed, Unnumbered
from emberline.service.intake import TRY_AGAIN_S, IngestCounts, Intake
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
    ingest: Intake
    counts: IngestCounts

    async def take(self, parts: Sequence[Unnumbered | Missed]) -> None:
        """Take in what has the same teller, in its order: a message; waits while the store has enough to do.

        Raises:
            StoreClosedError: The store was closed.
        """
        items: list[SampleBatch | Lost] = []
        for part in parts:
            item = await self._numbered(part)
            if isinstance(part, Unnumbered):
                self.counts.repeated += len(part.t_ns) - (len(item) if isinstance(item, SampleBatch) else 0)
            if item is not None:
                items.append(item)
        if items:
            await self.ingest.put(parts[0].teller, items)
        else:
            parts[0].teller.committed(0, {})

    async def _numbered(self, part: Unnumbered | Missed) -> SampleBatch | Lost | None:
        """Number a part, and try again for as long as the store cannot be read; the source waits meanwhile."""
        while True:
            try:
                if isinstance(part, Missed):
                    return await self.numbering.skipped(part)
                return await self.numbering.numbered(part)
            except StoreClosedError:
                raise
            except StoreError as error:
                if str(error) != self.counts.trouble:
                    LOG.error("what is stored cannot be looked up: %s", error)
                await asyncio.sleep(TRY_AGAIN_S)
