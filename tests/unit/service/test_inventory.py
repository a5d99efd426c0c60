import pytest

from emberline.bench.inventory import InventoryError, Kind
from emberline.service.errors import RequestError
from emberline.service.inventory import Inventory
from emberline.store.store import Store

TIN = 'name = "tin"\ntare_g = 312\n'


async def test_an_entry_is_kept_changed_retired_and_taken_up_again(store: Store) -> None:
    inventory = Inventory(store)
    await inventory.keep(Kind.POT, TIN, new=True)
    await inventory.keep(Kind.POT, 'name = "tin"\ntare_g = 311\n', new=False)
    assert [entry.numbers["tare_g"] for entry in await inventory.offered()] == [311.0]
    await inventory.retire(Kind.POT, "tin", retired=True)
    assert await inventory.offered() == ()
    assert [kept.retired for _, kept in await inventory.listed()] == [True]
    await inventory.retire(Kind.POT, "tin", retired=False)
    assert len(await inventory.offered()) == 1
    assert len(await inventory.versions(Kind.POT, "tin")) == 4


async def test_another_pot_may_not_take_the_name_of_one_that_is_there(store: Store) -> None:
    inventory = Inventory(store)
    await inventory.keep(Kind.POT, TIN, new=True)
    with pytest.raises(RequestError, match="already"):
        await inventory.keep(Kind.POT, TIN, new=True)
    with pytest.raises(RequestError, match="no stove 'tin'"):
        await inventory.retire(Kind.STOVE, "tin", retired=True)


async def test_what_has_problems_is_not_kept(store: Store) -> None:
    inventory = Inventory(store)
    with pytest.raises(InventoryError):
        await inventory.keep(Kind.POT, 'name = "tin"\ntare_g = 0.3\n', new=True)
    assert await inventory.listed() == []


async def test_an_entry_that_this_version_cannot_read_is_left_out(store: Store) -> None:
    store.add_entry("pot", "odd", 'name = "odd"\nweight = 3\n')
    assert await Inventory(store).listed() == []
