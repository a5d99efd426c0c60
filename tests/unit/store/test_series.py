"""Planned series in the store."""

from pathlib import Path

import pytest

from emberline.store.errors import SeriesKnownError, UnknownSeriesError
from emberline.store.reader import StoreReader
from emberline.store.store import Store


def test_series_are_kept_in_the_order_of_their_planning(tmp_path: Path) -> None:
    now = iter([10, 20, 30])
    with Store.open(tmp_path / "s", lambda: next(now)) as store:
        store.plan_series("z", '{"name": "z"}')
        store.plan_series("a", '{"name": "a"}')
        with pytest.raises(SeriesKnownError, match="'z' is planned already"):
            store.plan_series("z", '{"name": "z", "seed": 2}')
    reader = StoreReader(tmp_path / "s")
    assert reader.all_series() == ['{"name": "z"}', '{"name": "a"}']
    assert reader.series("z") == '{"name": "z"}'
    with pytest.raises(UnknownSeriesError, match="no series 'b'"):
        reader.series("b")
