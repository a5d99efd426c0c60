"""How far a planned series has come; `tests/unit/cli/test_ordering.py` takes its runs up one by one."""

import json
from pathlib import Path

from compared_fixture import fill
from emberline.service.series_standing import all_standings, rule_kept, standing_of
from emberline.store.store import Store
from emberline.trials.comparison.comparison import Comparison
from emberline.trials.comparison.run_order import run_order
from emberline.trials.comparison.series import Series, series_document
from emberline.trials.comparison.stop_rule import StopRule

SERIES = Series("holes-1", "time_to_boil", StopRule(burns=5), 1, tuple(run_order({"holes": ["8", "12"]}, 5, range)))


def test_trials_are_counted_by_the_run_in_their_plan(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s") as store:
        store.plan_series("holes-1", json.dumps(series_document(SERIES)))
        ids = fill(store, series="holes-1")
        standing = standing_of(store, "holes-1")
        assert standing.counting == frozenset(range(1, 8))
        assert [trial.id for trial in standing.burnt[3]] == [ids[2]]
        assert standing.next is not None
        assert standing.next.number == 8
        assert [one.series.name for one in all_standings(store)] == ["holes-1"]


def test_a_condition_that_nobody_burnt_keeps_the_series_open() -> None:
    nothing = Comparison((), {}, "", {}, (), (), ())
    assert not rule_kept(SERIES, nothing).ended
