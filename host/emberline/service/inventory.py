"""The inventory as people change it: entries are added and changed by new versions, retired and taken up again."""

import asyncio

from emberline.bench.inventory import Entry, InventoryError, Kind, parse_entry
from emberline.service.errors import RequestError
from emberline.store.inventory import StoredEntry
from emberline.store.store import Store


class Inventory:
    """Fuel lots, pots and stoves of a store."""

    def __init__(self, store: Store) -> None:
        """Look after a store's inventory."""
        self._store = store

    async def listed(self) -> list[tuple[Entry, StoredEntry]]:
        """Return the last version of everything, retired or not; what this version cannot read is left out."""
        found = []
        for kept in await asyncio.to_thread(self._store.inventory):
            try:
                found.append((parse_entry(Kind(kept.kind), kept.document), kept))
            except InventoryError:
                continue
        return found

    async def offered(self) -> tuple[Entry, ...]:
        """Return what can be burnt with now."""
        return tuple(entry for entry, kept in await self.listed() if not kept.retired)

    async def versions(self, kind: Kind, name: str) -> list[StoredEntry]:
        """Return all versions of an entry, the oldest first."""
        return await asyncio.to_thread(self._store.inventory_versions, kind.value, name)

    async def keep(self, kind: Kind, text: str, *, new: bool) -> Entry:
        """Keep a version of an entry.

        Args:
            kind: What it is.
            text: The entry.
            new: Whether it must not be there yet: an entry is not overwritten by another that was given its name.

        Raises:
            InventoryError: The text has problems.
            RequestError: The name is taken.
            StoreError: It cannot be kept.
        """
        entry = parse_entry(kind, text)
        if new and await self.versions(kind, entry.name):
            raise RequestError(f"there is a {kind.value} {entry.name!r} already: change it, or choose another name")
        await asyncio.to_thread(self._store.add_entry, kind.value, entry.name, entry.text)
        return entry

    async def retire(self, kind: Kind, name: str, *, retired: bool) -> None:
        """Offer an entry no more, or again.

        Raises:
            RequestError: There is none of that name.
            StoreError: It cannot be kept.
        """
        known = await self.versions(kind, name)
        if not known:
            raise RequestError(f"the inventory has no {kind.value} {name!r}")
        await asyncio.to_thread(self._store.add_entry, kind.value, name, known[-1].document, retired=retired)
