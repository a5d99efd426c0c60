from emberline.store.fresh import PAGE, Place
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS, batch


def test_each_bench_is_given_what_it_stored_after_its_own_place(store: Store) -> None:
    ids: dict[str, list[int]] = {"yard": [], "shed": [], "barn": []}
    for number in range(4):
        for bench in ids:
            made = store.commit(bench, [batch(10 * number, 10, device=bench)])
            assert made.commit is not None
            ids[bench].append(made.commit)
    places = [Place("shed", 0, ids["shed"][1]), Place("yard", 0, 0), Place("barn", 0, ids["barn"][3])]
    fresh = store.fresh(places, 100)
    assert {bench: [one.id for one in found.commits] for bench, found in fresh.items()} == {
        "shed": ids["shed"][2:],
        "yard": ids["yard"],
        "barn": [],
    }
    assert list(fresh) == ["shed", "yard", "barn"]
    assert not any(found.more for found in fresh.values())
    assert [len(one.batches[0]) for one in fresh["yard"].commits] == [10] * 4


def test_no_more_commits_are_read_than_asked_for_and_who_comes_late_is_left_out(store: Store) -> None:
    for number in range(PAGE + 3):
        store.commit("yard", [batch(10 * number, 10)])
    store.commit("shed", [batch(0, 10, device="shed")])
    everything = store.fresh([Place("yard", 0, 0), Place("shed", 0, 0)], 1_000)
    assert (len(everything["yard"].commits), everything["yard"].more) == (PAGE, True)
    assert (len(everything["shed"].commits), everything["shed"].more) == (1, False)
    rest = store.fresh([Place("yard", 0, everything["yard"].commits[-1].id)], 1_000)["yard"]
    assert (len(rest.commits), rest.more) == (3, False)
    few = store.fresh([Place("yard", 0, 0), Place("shed", 0, 0)], 5)
    assert {bench: (len(found.commits), found.more) for bench, found in few.items()} == {"yard": (5, True)}


def test_a_merged_block_is_gone_on_with_in_its_midst_and_old_and_imported_ones_do_not_matter(store: Store) -> None:
    commits = [store.commit("yard", [batch(10 * number, 10)]).commit for number in range(6)]
    trial = store.create_trial(bench="yard", start_ns=NOON_NS, origin="import")
    store.commit("yard", [batch(0, 10, device="table")], trial=trial.id)
    assert store.compact_old(NOON_NS + 3_600 * SECOND_NS) == 5
    rest = store.fresh([Place("yard", 0, commits[2] or 0), Place("shed", 0, 0)], 6)
    assert [one.id for one in rest["yard"].commits] == commits[3:]
    assert list(rest) == ["yard"]
    assert not store.fresh([Place("yard", NOON_NS + 3_600 * SECOND_NS, 0)], 100)["yard"].commits
