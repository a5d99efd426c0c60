import sqlite3
from contextlib import closing

from emberline.store.past import Past
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS
from unit.store.test_findings import DRIFT


def test_what_is_left_to_do_of_a_bench_is_what_runs_and_what_has_no_summary(store: Store) -> None:
    summed, unsummed, of_another, imported, runs = (
        store.create_trial(bench=bench, start_ns=NOON_NS + number, origin=origin).id
        for number, (bench, origin) in enumerate(
            [("b", "live"), ("b", "live"), ("a", "live"), ("b", "import"), ("b", "live")]
        )
    )
    for number, trial in enumerate((unsummed, summed, imported, of_another)):
        store.end_trial(trial, NOON_NS + (1 + number) * SECOND_NS)
    store.save_summary(summed, "{}", "1", "")
    store.save_summary(runs, "{}", "1", "")  # a provisional one, after flameout
    past = store.pasts(["b", "new"])
    assert [one.id for one in past["b"].unfinished] == [unsummed, runs]
    assert past["b"].last_end_ns == NOON_NS + 2 * SECOND_NS
    assert past["new"] == Past()


def test_findings_that_cannot_be_read_are_those_of_their_bench_alone(store: Store) -> None:
    kept = store.add_finding("a", "mass", DRIFT, "Ana")
    store.add_finding("b", "mass", DRIFT, "Ana")
    with closing(sqlite3.connect(store.path)) as connection, connection:
        connection.execute("UPDATE findings SET document = '{}' WHERE bench = 'b'")
    past = store.pasts(["a", "b"])
    assert (past["a"].findings, past["a"].unread) == ((kept,), "")
    assert past["b"].findings == ()
    assert "as this version keeps it" in past["b"].unread
