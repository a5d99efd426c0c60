"""What a daemon needs before it starts; the whole of it is tested with a simulated bench."""

import json
from pathlib import Path

import pytest

from emberline import app
from emberline.app import STORE_NAME, live
from emberline.config import ConfigError
from emberline.service.sharding import Shard
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS, batch


async def test_a_bench_without_a_port_is_refused_before_anything_is_made(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="neither a serial port nor a broker is named"):
        await app.serve(tmp_path / "data")
    assert not (tmp_path / "data").exists()


def bench_file(folder: Path, name: str, bench_id: str, port: str) -> Path:
    path = folder / f"{name}.toml"
    path.write_text(f'id = "{bench_id}"\n[[channel]]\nrole = "mass"\n[serial]\nport = "{port}"\n')
    return path


async def test_benches_that_cannot_be_told_apart_are_refused_before_anything_is_made(tmp_path: Path) -> None:
    yard = bench_file(tmp_path, "a", "yard", "/dev/one")
    same_id, same_port = bench_file(tmp_path, "b", "yard", "/dev/two"), bench_file(tmp_path, "c", "shed", "/dev/one")
    with pytest.raises(ConfigError, match="both describe bench yard"):
        await app.serve(tmp_path / "data", bench_files=(yard, same_id))
    with pytest.raises(ConfigError, match="name the same serial port"):
        await app.serve(tmp_path / "data", bench_files=(yard, same_port))
    with pytest.raises(ConfigError, match="--port is for one bench"):
        await app.serve(tmp_path / "data", bench_files=(yard, same_port), port="/dev/three")
    assert not (tmp_path / "data").exists()


async def test_a_folder_stands_for_the_bench_files_in_it(tmp_path: Path) -> None:
    folder = tmp_path / "benches"
    folder.mkdir()
    with pytest.raises(ConfigError, match="holds no bench file"):
        await app.serve(tmp_path / "data", bench_files=(folder,))
    bench_file(folder, "a", "yard", "/dev/one")
    bench_file(folder, "b", "yard", "/dev/two")
    with pytest.raises(ConfigError, match="both describe bench yard"):
        await app.serve(tmp_path / "data", bench_files=(folder,))


async def test_a_shard_needs_a_number_and_a_broker(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="write it like 2/8"):
        await app.serve(tmp_path / "data", broker="localhost", shard="8")
    with pytest.raises(ConfigError, match="--port is for one bench"):
        await app.serve(tmp_path / "data", shard="1/2", port="/dev/one")
    with pytest.raises(ConfigError, match="name it with --broker"):
        await app.serve(tmp_path / "data", shard="1/2")
    with pytest.raises(ConfigError, match="name it with --broker"):
        await app.serve(tmp_path / "data", shard="1/2", bench_files=(bench_file(tmp_path, "a", "yard", "/dev/one"),))
    assert not (tmp_path / "data").exists()


def test_a_shard_has_its_own_of_the_benches_that_are_described_and_those_it_had(tmp_path: Path) -> None:
    for name in ("yard", "shed", "barn"):
        text = f'id = "{name}"\n[[channel]]\nrole = "mass"\n[mqtt]\nhost = "localhost"\n'
        (tmp_path / f"{name}.toml").write_text(text)
    for name in ("cellar", "yard"):
        (tmp_path / f"link-{name}.json").write_text("{}")
    files, found = sorted(tmp_path.glob("*.toml")), {}
    for number in (1, 2, 3):
        sharding = live._sharding(Shard(number, 3), files, None, None)
        for one in live._sharded_benches(sharding, tmp_path, files, None):
            assert one.bench_id not in found, "it is in two shards"
            found[one.bench_id] = one.bench is not None
    assert found == {"yard": True, "shed": True, "barn": True, "cellar": False}


@pytest.mark.parametrize("provisional", [True, False])
def test_the_summary_of_a_live_trial_says_whether_it_is_provisional(tmp_path: Path, provisional: bool) -> None:
    with Store.open(tmp_path / STORE_NAME) as store:
        store.commit("yard", [batch(0, 600)])
        trial = store.create_trial(bench="yard", start_ns=NOON_NS)
        store.end_trial(trial.id, NOON_NS + 60 * SECOND_NS)
    summed = app.live_summary(tmp_path, trial.id, provisional)
    assert summed.page.is_file()
    notes = [note["text"] for note in json.loads(summed.document)["quality"]]
    assert any("provisional" in text for text in notes) == provisional


def test_a_key_without_its_certificate_is_refused(certificate: tuple[Path, Path]) -> None:
    assert app.address_of("127.0.0.1:8437", *certificate).certificate == certificate[0]
    with pytest.raises(ConfigError, match="tls-certificate"):
        app.address_of("127.0.0.1:8437", None, certificate[1])
    with pytest.raises(ConfigError, match="there is no such file"):
        app.address_of("127.0.0.1:8437", certificate[0].with_name("other.crt"))
