from emberline.store.store import Store


def test_the_last_version_counts_and_earlier_ones_are_kept(store: Store) -> None:
    store.add_entry("pot", "tin", "tare_g = 312")
    store.add_entry("pot", "tin", "tare_g = 311")
    store.add_entry("lot", "chips", "moisture_wet = 0.1")
    assert [(one.kind, one.name, one.document) for one in store.inventory()] == [
        ("lot", "chips", "moisture_wet = 0.1"),
        ("pot", "tin", "tare_g = 311"),
    ]
    assert [one.document for one in store.inventory_versions("pot", "tin")] == ["tare_g = 312", "tare_g = 311"]


def test_what_is_retired_stays_listed_as_such_and_can_come_back(store: Store) -> None:
    store.add_entry("stove", "can", "tare_g = 640")
    store.add_entry("stove", "can", "tare_g = 640", retired=True)
    assert [one.retired for one in store.inventory()] == [True]
    store.add_entry("stove", "can", "tare_g = 640")
    assert [one.retired for one in store.inventory()] == [False]


def test_a_pot_and_a_stove_may_share_a_name(store: Store) -> None:
    store.add_entry("pot", "can", "")
    store.add_entry("stove", "can", "")
    assert len(store.inventory()) == 2


def test_a_guide_is_kept_for_each_bench_until_it_is_taken_away(store: Store) -> None:
    assert store.guide("shed") == ""
    store.save_guide("shed", "one")
    store.save_guide("yard", "other")
    store.save_guide("shed", "two")
    assert (store.guide("shed"), store.guide("yard")) == ("two", "other")
    store.save_guide("shed", "")
    assert store.guide("shed") == ""
