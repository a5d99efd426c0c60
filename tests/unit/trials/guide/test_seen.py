from emberline.bench.inventory import Entry, Kind
from emberline.trials.guide.seen import Seen


def test_an_entry_is_found_by_kind_and_name() -> None:
    pot, stove = Entry(Kind.POT, "can"), Entry(Kind.STOVE, "can")
    seen = Seen(1, entries=(pot, stove))
    assert seen.entry(Kind.STOVE, "can") is stove
    assert seen.entry(Kind.LOT, "can") is None
