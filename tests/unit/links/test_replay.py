import random
from datetime import UTC
from pathlib import Path

import numpy as np
import pytest

from emberline.bench.channels import Role
from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.links import replay as module
from emberline.links.errors import RecordingError
from emberline.links.replay import Recording, read_recording

ORIGIN_NS = 1_764_072_000_000_000_000


def read(path: Path, text: str | bytes, **columns: str) -> Recording:
    file = path / "burn.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_recording(file, columns, origin_ns=ORIGIN_NS)


def seconds(batch: SampleBatch) -> list[float]:
    return [float(one) for one in (batch.t_ns - ORIGIN_NS) / 1e9]


def test_a_plain_file(tmp_path: Path) -> None:
    got = read(tmp_path, "t,m,w\n0,1000,20.5\n0.5,999.5,20.6\n1,999,20.7\n", t_s="t", mass="m", water="w")
    mass = got.batches[Role.MASS]
    assert (mass.device, mass.boot, mass.channel, mass.first_seq) == ("import:burn.csv", 0, "mass", 0)
    assert mass.raw.tolist() == [1000, 999.5, 999]
    assert seconds(mass) == [0, 0.5, 1]
    assert mass.flags.tolist() == [0, 0, 0]
    assert got.batches[Role.WATER].raw.tolist() == [20.5, 20.6, 20.7]
    assert (got.start_ns, got.end_ns) == (ORIGIN_NS, ORIGIN_NS + 10**9)
    assert got.relative
    assert not got.guessed
    assert (got.rows, got.set_aside, got.remarks, got.ignored) == (3, {}, (), ())


def test_columns_are_guessed_and_it_is_said(tmp_path: Path) -> None:
    got = read(tmp_path, "t_s,mass_g,hrr_kW\n0,100,0\n1,99,0\n")
    assert got.guessed
    assert got.columns == {"t_s": "t_s", "mass": "mass_g"}
    assert got.ignored == ("hrr_kW",)


def test_a_hostile_file_survives_with_a_count_of_everything(tmp_path: Path) -> None:
    text = (
        "\ufeffBench 3\r\n"
        "Zeit [s];Wasser [°C];Masse [kg]\r\n"
        "s;°C;kg\r\n"
        "0,0;20,5;1,000\r\n"
        "1,0;;0,999\r\n"
        "2,0;Fühler ab;0,998\r\n"
        "Zeit [s];Wasser [°C];Masse [kg]\r\n"
        "\r\n"
        "4,0;20,9;0,996\r\n"
        "3,0;20,8;0,997\r\n"
        "?;20,8;0,997\r\n"
        "99999999,0;20,8;0,997\r\n"
        "5,0;21,0;-\r\n"
        "6,0;21,1\r\n"
        "the end\r\n"
    )
    got = read(tmp_path, text, t_s="Zeit [s]", water="Wasser [°C]", mass="Masse [kg]")
    assert got.batches[Role.MASS].raw.tolist() == [1000, 999, 998, 997, 996]
    assert seconds(got.batches[Role.MASS]) == [0, 1, 2, 3, 4]
    assert got.batches[Role.WATER].raw.tolist() == [20.5, 20.8, 20.9, 21.0, 21.1]
    assert seconds(got.batches[Role.WATER]) == [0, 3, 4, 5, 6]
    assert got.set_aside == {
        "text before the header": 1,
        "row of units": 1,
        "repeated header": 1,
        "row of text": 1,
        "row without a readable time": 1,
        "row more than a day from the rest": 1,
        "row out of order (sorted)": 1,
        "cell without a number in Wasser [°C]": 1,
        "cell without a number in Masse [kg]": 1,
    }
    assert "Masse [kg] is converted from kg" in got.remarks
    assert any("decimal commas" in remark for remark in got.remarks)


def test_blank_cells_of_channels_that_keep_other_paces_are_in_order(tmp_path: Path) -> None:
    text = "t,water,mass\n" + "".join(f"{i},{20 + i if i % 4 == 0 else ''},{900 - i}\n" for i in range(40)) + "40,,\n"
    got = read(tmp_path, text, t_s="t", water="water", mass="mass")
    assert (len(got.batches[Role.WATER]), len(got.batches[Role.MASS])) == (10, 40)
    assert got.set_aside == {"row without a reading": 1}


def test_nothing_is_dropped_that_is_not_counted(tmp_path: Path) -> None:
    rng = random.Random(11)
    lines = ["t,m"]
    good = 0
    for i in range(2000):
        cell = rng.choice(["", "ERR", "1e999", "5.5", "5.5", "5.5", "5.5"])
        good += cell == "5.5"
        lines.append(f"{i / 10},{cell}")
    got = read(tmp_path, "\n".join(lines), t_s="t", mass="m")
    assert len(got.batches[Role.MASS]) == good
    assert good + sum(got.set_aside.values()) == 2000


def test_times_with_a_date_are_kept_as_they_are(tmp_path: Path) -> None:
    got = read(tmp_path, "time,mass\n2001-09-09T01:46:40Z,5\n2001-09-09T01:46:41Z,4\n")
    assert not got.relative
    assert got.batches[Role.MASS].t_ns[0] == 1_000_000_000 * 10**9


def test_readings_that_share_a_time_are_all_kept_and_it_is_said(tmp_path: Path) -> None:
    got = read(tmp_path, "t_s,mass\n0,5\n0,4\n0,3\n1,2\n")
    assert len(got.batches[Role.MASS]) == 4
    assert "2 readings share" in got.remarks[0]


def test_a_number_column_choice_works_without_a_header(tmp_path: Path) -> None:
    got = read(tmp_path, "0,5,20\n1,4,21\n", t_s="1", mass="2")
    assert got.batches[Role.MASS].raw.tolist() == [5, 4]
    assert got.ignored == ()


def test_channels_may_have_other_names(tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_text("t_s,mass\n0,5\n1,4\n")
    got = read_recording(tmp_path / "b.csv", origin_ns=0, zone=UTC, names={Role.MASS: "cell"})
    assert got.batches[Role.MASS].channel == "cell"


def test_a_reported_fault_is_kept_as_a_flagged_sample(tmp_path: Path) -> None:
    got = read(tmp_path, "t_s,mass,flame\n0,5,NaN\n1,NaN,\n2,3,ERR\n")
    mass = got.batches[Role.MASS]
    assert mass.flags.tolist() == [0, FLAG_FAULT, 0]
    assert np.isnan(mass.raw).tolist() == [False, True, False]
    assert seconds(mass) == [0, 1, 2]
    assert list(got.batches) == [Role.MASS]
    assert got.set_aside["fault (NaN) in mass"] == 1


def test_a_channel_without_any_reading_is_left_out(tmp_path: Path) -> None:
    got = read(tmp_path, "t_s,mass,flame\n0,5,\n1,4,\n")
    assert list(got.batches) == [Role.MASS]


@pytest.mark.parametrize(
    ("text", "columns", "told"),
    [
        ("t_s,mass\n", {}, "no rows of numbers"),
        ("t_s,mass\nx,5\ny,4\n", {}, "no times"),
        ("t_s,mass\n0,x\n1,y\n", {}, "neither a mass"),
        ("t,m\n0,5\n", {"t_s": "t", "mass": "mm"}, "Did you mean 'm'"),
        ("", {}, "empty"),
    ],
)
def test_errors_name_the_file_and_say_what_to_do(tmp_path: Path, text: str, columns: dict[str, str], told: str) -> None:
    with pytest.raises(RecordingError, match=told) as caught:
        read(tmp_path, text, **columns)
    assert str(caught.value).startswith("burn.csv: ")


def test_a_missing_file_and_a_folder_are_told(tmp_path: Path) -> None:
    for path in (tmp_path / "no.csv", tmp_path):
        with pytest.raises(RecordingError, match="cannot read"):
            read_recording(path, origin_ns=0)


@pytest.mark.parametrize("seed", range(20))
def test_noise_gives_a_recording_or_our_own_error_and_never_another(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    text = bytearray(b"t_s,water_c,mass_g\n" + b"".join(b"%d,20.5,%d\n" % (i, 1000 - i) for i in range(50)))
    for _ in range(rng.randrange(1, 200)):
        text[rng.randrange(len(text))] = rng.choice(b'",;\t\n\r\0 \xff\xc3.-+eE:TZ0123456789nai')
    try:
        got = read(tmp_path, bytes(text))
    except RecordingError:
        return
    for batch in got.batches.values():
        assert np.isfinite(batch.raw[batch.flags == 0]).all()
        assert (np.diff(batch.t_ns) >= 0).all()


def test_a_file_larger_than_any_burn_is_refused_before_it_is_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = "t,m\n0,1000\n1,999\n"
    monkeypatch.setattr(module, "MOST_BYTES", len(text))
    assert read(tmp_path, text, t_s="t", mass="m").rows == 2
    with pytest.raises(RecordingError, match="cut it into its burns"):
        read(tmp_path, text + "\n", t_s="t", mass="m")
