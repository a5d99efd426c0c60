"""Packs: what goes in comes out, and hostile ones are refused in words."""

import contextlib
import json
import tracemalloc
import zipfile
from pathlib import Path

import numpy as np
import pytest
from uncertainties import ufloat

from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, EventKind, Retraction
from emberline.store import pack as module
from emberline.store.errors import ExportError, PackError
from emberline.store.pack import SAMPLES, commits_in, read_pack, unpack, write_pack
from emberline.store.records import StoredAlarm, Trial
from emberline.store.store import Store
from emberline.store.trial_documents import BENCH, PLAN, TRIAL
from emberline.trials.corrections import Correction, Exclude

EVENTS = (
    Event(EventKind.LIT, 12.5, 0.7, "loss of 0.1 g/s", announced_t_s=20.0),
    Event(EventKind.REFUEL, 90.0, 1.0, "step", ufloat(61.25, 0.4, "size"), confirmed=False),
)
RETRACTED = (Retraction(EventKind.BOIL, 30.0, 44.0, "it cooled"),)


def batch(channel: str, first: int, values: list[float], boot: int = 3) -> SampleBatch:
    t_ns = 10**18 + np.arange(first, first + len(values), dtype=np.int64) * 100_000_000
    return SampleBatch("dev", boot, channel, first, t_ns, np.array(values), np.zeros(len(values), np.uint8))


ALARM = StoredAlarm("shed", "cell_hot", 10**18 + 10**9, "71 °C", None, 10**18 + 10**10, "Ana")
COMMITS = (
    (batch("mass", 0, [1.5, 0.1 + 0.2, -3e-9]), batch("water", 0, [20.0])),
    (batch("mass", 3, [float("nan"), 7.0]),),
    (batch("mass", 9, [8.0]), batch("mass", 0, [9.0], boot=4)),
)


@pytest.fixture
def packed(tmp_path: Path) -> Path:
    """A pack of a live trial."""
    with Store.open(tmp_path / "s") as store:
        trial = store.create_trial(bench="shed", start_ns=10**18, zone="Europe/Oslo", plan_text='label = "one"\n')
        for batches in COMMITS:
            store.commit("shed", batches)
        store.end_trial(trial.id, 10**18 + 10**12)
        store.save_events(trial.id, EVENTS, RETRACTED)
        store.keep_alarms([ALARM])
        store.add_correction(trial.id, Correction(1, 5, "me", "rain", Exclude()))
        assert write_pack(store, store.trial(trial.id), {"summary.html": b"<p>"}, tmp_path / "p.zip") == 8
    return tmp_path / "p.zip"


def opened_again(source: Path, folder: Path) -> tuple[Store, Trial]:
    store = Store.open(folder / "other")
    return store, unpack(source, read_pack(source), store)


def test_what_goes_in_comes_out(packed: Path, tmp_path: Path) -> None:
    store, trial = opened_again(packed, tmp_path)
    with store:
        assert (trial.bench, trial.zone, trial.origin, trial.packed) == ("shed", "Europe/Oslo", "import", True)
        assert (trial.start_ns, trial.end_ns, trial.plan_text) == (10**18, 10**18 + 10**12, 'label = "one"\n')
        assert [(e.kind, e.t_s, e.announced_t_s, e.confirmed) for e in store.events(trial.id)] == [
            (e.kind, e.t_s, e.announced_t_s, e.confirmed) for e in EVENTS
        ]
        assert tuple(store.retractions(trial.id)) == RETRACTED
        assert [(c.who, c.why) for c in store.corrections(trial.id)] == [("me", "rain")]
        assert store.alarms("shed") == [ALARM]
        found = [one for one in store.trial_batches(trial) if one.channel == "mass"]
        sent = [one for commit in COMMITS for one in commit if one.channel == "mass"]
        assert [one.first_seq for one in found] == [one.first_seq for one in sent]
        for one, other in zip(found, sent, strict=True):
            assert one.raw.tobytes() == other.raw.tobytes()
            assert one.t_ns.tolist() == other.t_ns.tolist()
        assert len({one.boot for one in found}) == 2


def test_commits_keep_their_order(packed: Path) -> None:
    assert [[one.channel for one in commit.batches] for commit in commits_in(packed)] == [
        ["mass", "water"],
        ["mass"],
        ["mass", "mass"],
    ]


def test_the_same_pack_twice_makes_two_whole_trials(packed: Path, tmp_path: Path) -> None:
    store, first = opened_again(packed, tmp_path)
    with store:
        second = unpack(packed, read_pack(packed), store, "once more")
        assert second.label == "once more"
        assert [sum(map(len, store.trial_batches(one))) for one in (first, second)] == [8, 8]


def test_the_same_trial_gives_the_same_bytes(packed: Path, tmp_path: Path) -> None:
    with Store.open(tmp_path / "s") as store:
        write_pack(store, store.trials()[0], {"summary.html": b"<p>"}, tmp_path / "q.zip")
    assert (tmp_path / "q.zip").read_bytes() == packed.read_bytes()


def test_a_trial_that_runs_is_not_packed(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s") as store:
        trial = store.create_trial(bench="shed", start_ns=10**18)
        with pytest.raises(ExportError, match="still running"):
            write_pack(store, trial, {}, tmp_path / "p.zip")
    assert not list(tmp_path.glob("p.zip*"))


# What others send


def changed(source: Path, target: Path, name: str, content: bytes | None) -> Path:
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.namelist():
            if member != name:
                new.writestr(member, old.read(member))
        if content is not None:
            new.writestr(name, content)
    return target


@pytest.mark.parametrize("name", [TRIAL, SAMPLES, BENCH, PLAN])
def test_a_pack_that_lacks_a_part_is_refused(packed: Path, tmp_path: Path, name: str) -> None:
    source = changed(packed, tmp_path / "x.zip", name, None)
    with pytest.raises(PackError, match=f"holds no {name}"):
        (read_pack(source), list(commits_in(source)))


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        (TRIAL, b"{", "was changed"),
        (TRIAL, b"[]", "was changed"),
        (TRIAL, b"[" * 100_000, "was changed"),
        (TRIAL, b'{"schema": "emberline.pack/2"}', "newer Emberline"),
        (TRIAL, b"\xff", "was changed"),
        (SAMPLES, b"a,b\n", "other columns"),
        (SAMPLES, b"commit,device,boot,channel,seq,t_ns,raw,flags\n1,d,0,mass,0,x,1,0\n", "was changed"),
        (SAMPLES, b"commit,device,boot,channel,seq,t_ns,raw,flags\n1,d,0\n", "was changed"),
        (
            SAMPLES,
            b"commit,device,boot,channel,seq,t_ns,raw,flags\n1,d,0,mass,0,99999999999999999999,1,0\n",
            "was changed",
        ),
        (SAMPLES, b"\xff\xff", "was changed"),
    ],
)
def test_a_pack_that_was_changed_is_refused(packed: Path, tmp_path: Path, name: str, content: bytes, why: str) -> None:
    source = changed(packed, tmp_path / "x.zip", name, content)
    with pytest.raises(PackError, match=why):
        (read_pack(source), list(commits_in(source)))


def test_a_file_that_is_no_zip_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.zip").write_bytes(b"no zip")
    with pytest.raises(PackError, match="no zip file"):
        read_pack(tmp_path / "x.zip")


def test_a_part_larger_than_any_trial_is_not_unpacked(
    packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = changed(packed, tmp_path / "x.zip", PLAN, b"#" * (2 << 20))
    monkeypatch.setattr(zipfile.ZipFile, "read", lambda *_: pytest.fail("it was unpacked"))
    with pytest.raises(PackError, match="more than any trial has"):
        module._text(zipfile.ZipFile(source), source, PLAN)


ROW = "{commit},d,0,mass,{seq},{t},1.5,0\n"
HEADER = "commit,device,boot,channel,seq,t_ns,raw,flags\n"


def peak_mb(source: Path) -> float:
    tracemalloc.start()
    try:
        with contextlib.suppress(PackError):
            for _ in commits_in(source):
                pass
        return tracemalloc.get_traced_memory()[1] / 1e6
    finally:
        tracemalloc.stop()


def test_a_line_without_end_is_not_held(packed: Path, tmp_path: Path) -> None:
    for content in (
        b"0" * 50_000_000,
        HEADER.encode() + b"1" * 50_000_000,
        HEADER.encode() + b'"\n' + b"\n" * 5_000_000,
    ):
        source = changed(packed, tmp_path / "x.zip", SAMPLES, content)
        # A hundred kilobytes that would unpack to fifty million.
        assert source.stat().st_size < 100_000
        with pytest.raises(PackError, match="damaged"):
            list(commits_in(source))
        assert peak_mb(source) < 5.0


def test_a_commit_of_many_rows_takes_little_more_than_its_numbers(packed: Path, tmp_path: Path) -> None:
    count = 120_000
    rows = "".join(ROW.format(commit=1, seq=seq, t=seq * 10**8) for seq in range(count))
    source = changed(packed, tmp_path / "x.zip", SAMPLES, (HEADER + rows).encode())
    ((one,),) = [commit.batches for commit in commits_in(source)]
    assert (len(one), one.first_seq, one.t_ns.tolist()) == (count, 0, [seq * 10**8 for seq in range(count)])
    assert peak_mb(source) < 25.0  # as text, all at once, it takes 45


def test_a_commit_of_more_batches_than_any_is_refused(
    packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MOST_BATCHES", 3)
    for count, fits in ((3, True), (4, False)):
        rows = "".join(ROW.format(commit=1, seq=2 * seq, t=seq) for seq in range(count))
        source = changed(packed, tmp_path / "x.zip", SAMPLES, (HEADER + rows).encode())
        if fits:
            assert len(next(commits_in(source)).batches) == count
        else:
            with pytest.raises(PackError, match="more batches"):
                list(commits_in(source))


@pytest.mark.parametrize("way", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2])
def test_a_way_of_compressing_that_claims_memory_first_is_refused(packed: Path, tmp_path: Path, way: int) -> None:
    with zipfile.ZipFile(packed) as old, zipfile.ZipFile(tmp_path / "x.zip", "w", way) as new:
        for member in old.namelist():
            new.writestr(member, old.read(member))
    with pytest.raises(PackError, match="zip it anew"):
        read_pack(tmp_path / "x.zip")


def test_names_that_lead_elsewhere_lead_nowhere(packed: Path, tmp_path: Path) -> None:
    source = changed(packed, tmp_path / "x.zip", "../../evil.txt", b"x")
    before = {path for path in tmp_path.parent.rglob("*") if path.is_file()}
    below = tmp_path / "below"
    below.mkdir()
    store, _ = opened_again(source, below)
    store.close()
    new = {path for path in tmp_path.parent.rglob("*") if path.is_file()} - before
    assert all(path.is_relative_to(below) for path in new)


def test_a_damaged_byte_is_noticed(packed: Path, tmp_path: Path) -> None:
    content = bytearray(packed.read_bytes())
    at = content.index(SAMPLES.encode()) + 60
    content[at] ^= 0x55
    (tmp_path / "x.zip").write_bytes(bytes(content))
    with pytest.raises(PackError):
        list(commits_in(tmp_path / "x.zip"))


def test_the_documents_are_plain_json(packed: Path) -> None:
    with zipfile.ZipFile(packed) as pack:
        document = json.loads(pack.read(TRIAL))
    assert document["trial"]["zone"] == "Europe/Oslo"
    assert document["corrections"][0]["change"] == {"do": "exclude"}
