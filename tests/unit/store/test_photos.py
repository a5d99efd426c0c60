import pytest

from emberline.store import photos
from emberline.store.errors import TooManyPhotosError, UnknownPhotoError, UnknownTrialError
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS


@pytest.fixture
def trial(store: Store) -> str:
    return store.create_trial(bench="yard", start_ns=NOON_NS, zone="UTC", label=None, bench_text="", plan_text="").id


def test_photos_are_kept_in_order_of_time(store: Store, trial: str) -> None:
    later = store.add_photo(trial, NOON_NS + 9 * SECOND_NS, (1600, 1200), b"later")
    first = store.add_photo(trial, NOON_NS, (1200, 1600), b"first")
    assert [(one.id, one.width) for one in store.photos(trial)] == [(first, 1200), (later, 1600)]
    assert store.photo(trial, later) == b"later"


def test_a_photo_is_removed_and_its_number_not_used_again(store: Store, trial: str) -> None:
    number = store.add_photo(trial, NOON_NS, (8, 8), b"one")
    store.remove_photo(trial, number)
    assert store.photos(trial) == []
    with pytest.raises(UnknownPhotoError):
        store.photo(trial, number)
    with pytest.raises(UnknownPhotoError):
        store.remove_photo(trial, number)
    assert store.add_photo(trial, NOON_NS, (8, 8), b"two") > number


def test_a_photo_belongs_to_one_trial(store: Store, trial: str) -> None:
    number = store.add_photo(trial, NOON_NS, (8, 8), b"one")
    with pytest.raises(UnknownPhotoError):
        store.photo("2025-11-25-9", number)
    with pytest.raises(UnknownTrialError):
        store.add_photo("2025-11-25-9", NOON_NS, (8, 8), b"two")


def test_a_trial_has_so_many_photos_and_no_more(store: Store, trial: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "MOST_PHOTOS", 2)
    for _ in range(2):
        store.add_photo(trial, NOON_NS, (8, 8), b"one")
    with pytest.raises(TooManyPhotosError, match="remove one first"):
        store.add_photo(trial, NOON_NS, (8, 8), b"one")
