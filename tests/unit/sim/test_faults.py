"""What goes wrong on the line."""

import pytest

from emberline_sim.errors import FaultError
from emberline_sim.faults import MEANING, Fault, FaultKind, Mischief, parse_fault


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("unplug@300:5", Fault(FaultKind.UNPLUG, 300.0, 305.0)),
        ("reboot@400", Fault(FaultKind.REBOOT, 400.0, 400.0)),
        ("junk@0:200", Fault(FaultKind.JUNK, 0.0, 0.0, 200.0)),
        ("bits@100-200.5:0.001", Fault(FaultKind.BITS, 100.0, 200.5, 0.001)),
        ("lose@1-2:0.05", Fault(FaultKind.LOSE, 1.0, 2.0, 0.05)),
        ("double@1-2:1", Fault(FaultKind.DOUBLE, 1.0, 2.0, 1.0)),
    ],
)
def test_faults_are_read(text: str, fault: Fault) -> None:
    assert parse_fault(text) == fault


@pytest.mark.parametrize(
    "text", ["", "fire@3", "unplug", "unplug@3", "unplug@3-4", "reboot@3:4", "junk@1", "bits@3:0.1", "bits@9-3:0.1",
             "lose@1-2:1.5", "unplug@-3:5"]
)  # fmt: skip
def test_what_is_no_fault_is_refused_with_the_way_to_write_it(text: str) -> None:
    with pytest.raises(FaultError, match="@"):
        parse_fault(text)


def test_every_kind_says_how_it_is_written() -> None:
    assert set(MEANING) == set(FaultKind)


def test_unplugged_for_its_time() -> None:
    mischief = Mischief([parse_fault("unplug@10:5")], seed=1)
    assert [mischief.plugged(t_s) for t_s in (9.9, 10.0, 14.9, 15.0)] == [True, False, False, True]


def test_moments_come_once() -> None:
    mischief = Mischief([parse_fault("reboot@10"), parse_fault("junk@5:3")], seed=1)
    assert mischief.due(4.0) == []
    assert [fault.kind for fault in mischief.due(20.0)] == [FaultKind.JUNK, FaultKind.REBOOT]
    assert mischief.due(30.0) == []


def test_noise_only_in_its_time_at_its_rate_and_the_same_for_a_seed() -> None:
    data = bytes(100_000)
    for text, expected in (("bits@10-20:0.01", 8000), ("lose@10-20:0.01", 1000), ("double@10-20:0.01", 1000)):
        one, two = (Mischief([parse_fault(text)], seed=4) for _ in range(2))
        assert one.spoil(data, 9.9) == data
        assert one.spoil(data, 20.0) == data
        spoilt = one.spoil(data, 15.0)
        assert spoilt == two.spoil(data, 15.0)
        size = sum(octet.bit_count() for octet in spoilt) if text.startswith("bits") else abs(len(spoilt) - len(data))
        assert size == pytest.approx(expected, rel=0.15)
        assert Mischief([parse_fault(text)], seed=5).spoil(data, 15.0) != spoilt


def test_junk_has_its_size() -> None:
    assert len(Mischief([], seed=1).junk(200)) == 200
