"""The reference firmware on an emulated core: every command, every chip, every reset, in step with the test."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import emberline_wire as wire
from emulated_fixture import Board, Boards

MASS, WATER, FLAME, WATER_JUNCTION, FLAME_JUNCTION, AMBIENT, PRESSURE = range(7)
BOOT_S = 1.0
"""Long enough for the first frames after a power-up."""


def hello_of(board: Board) -> wire.Hello:
    """Ask who it is."""
    board.send(wire.Identify())
    return next(message for message in board.listen(0.3) if isinstance(message, wire.Hello))


def status_of(board: Board, *messages: wire.Stop | wire.Start) -> wire.Status:
    board.send(*messages)
    return next(message for message in board.listen(0.3) if isinstance(message, wire.Status))


def samples_of(messages: Sequence[wire.Message], stream: int) -> list[wire.Samples]:
    return [message for message in messages if isinstance(message, wire.Samples) and message.stream == stream]


def faults_of(frames: list[wire.Samples]) -> set[int]:
    """Return which fault bits samples have, 0 for those without; there must be some samples."""
    assert frames
    return {int(bits) for frame in frames for bits in (np.zeros(len(frame)) if frame.faults is None else frame.faults)}


def times_us_of(frames: list[wire.Samples]) -> NDArray[np.int64]:
    """Return the times of samples in the order of their numbers; what nobody acknowledges comes again."""
    by_number = {
        frame.first_seq + i: frame.ticks + int(after_us)
        for frame in frames
        for i, after_us in enumerate(frame.offsets_us())
    }
    return np.array([by_number[number] for number in sorted(by_number)])


def test_it_greets_and_samples_without_being_asked(boards: Boards) -> None:
    board = boards()
    came = board.listen(3.0)
    hello = came[0]
    assert isinstance(hello, wire.Hello)
    assert [(channel.name, channel.kind, channel.period_us) for channel in hello.channels] == [
        ("mass", wire.Kind.BRIDGE_COUNTS, 100_000),
        ("water", wire.Kind.THERMOCOUPLE_FLAT, 250_000),
        ("flame", wire.Kind.THERMOCOUPLE_FLAT, 250_000),
        ("water_cj", wire.Kind.COLD_JUNCTION, 1_000_000),
        ("flame_cj", wire.Kind.COLD_JUNCTION, 1_000_000),
    ]
    assert [channel.serves for channel in hello.channels] == [None, None, None, WATER, FLAME]
    assert hello.ring_ms >= 5_000
    weighed = samples_of(came, MASS)
    assert set(np.concatenate([frame.values for frame in weighed])) == {84_213}
    assert all(
        frame.first_seq == after for frame, after in zip(weighed[1:], [f.next_seq for f in weighed], strict=False)
    )
    times_us = np.concatenate([frame.ticks + frame.offsets_us() for frame in weighed])
    assert np.all(np.abs(np.diff(times_us) - 100_000) <= 64), "stamped as the converter is ready"
    assert set(np.concatenate([frame.values for frame in samples_of(came, WATER)])) == {80}


def test_the_longest_device_id_and_all_streams_fit_a_hello(boards: Boards) -> None:
    board = boards(DEVICE_ID="a" * 32, WITH_AIR=1)
    hello = board.listen(BOOT_S)[0]
    assert isinstance(hello, wire.Hello)
    assert hello.device == "a" * 32
    assert len(hello.channels) == 7
    assert hello.ring_ms >= 5_000


@pytest.mark.parametrize("counts", [-8_388_607, -1, 0, 1, 8_388_606])
def test_counts_come_as_the_converter_has_them(boards: Boards, counts: int) -> None:
    board = boards()
    board.sees["mass"] = lambda _: float(counts)
    values = np.concatenate([frame.values for frame in samples_of(board.listen(BOOT_S), MASS)])
    assert set(values) == {counts}


@pytest.mark.parametrize("end", [-8_388_608, 8_388_607])
def test_counts_at_the_end_of_the_range_are_flagged_and_sent(boards: Boards, end: int) -> None:
    board = boards()
    board.sees["mass"] = lambda _: float(end)
    frames = samples_of(board.listen(BOOT_S), MASS)
    assert set(np.concatenate([frame.values for frame in frames])) == {end}
    assert faults_of(frames) == {wire.Fault.SATURATED}


def test_a_bridge_converter_that_does_not_answer_is_told_once_a_second(boards: Boards) -> None:
    board = boards()
    del board.sees["mass"]
    frames = samples_of(board.listen(5.5), MASS)
    assert sum(len(frame) for frame in frames) == 5
    assert faults_of(frames) == {wire.Fault.NO_ANSWER}
    board.sees["mass"] = lambda _: 5.0
    board.listen(0.5)
    frames = samples_of(board.listen(1.0), MASS)
    assert sum(len(frame) for frame in frames) >= 8
    assert faults_of(frames) == {0}


def test_a_data_line_that_touches_ground_is_told_once_a_second_and_floods_nothing(boards: Boards) -> None:
    # Once each look at such a line was taken for a conversion, thousands a second.
    board = boards()
    board.listen(BOOT_S)
    board.happens("mass-short")
    board.listen(0.5)
    came = board.listen(5.0)
    frames = samples_of(came, MASS)
    assert sum(len(frame) for frame in frames) <= 5
    assert faults_of(frames) == {wire.Fault.NO_ANSWER}
    assert samples_of(came, WATER)


@pytest.mark.parametrize(
    ("bits", "flagged"),
    [(1, wire.Fault.OPEN), (2, wire.Fault.SHORT_LOW), (4, wire.Fault.SHORT_HIGH)],
    ids=["open", "low", "high"],
)
def test_a_broken_lead_is_flagged_for_as_long_as_it_is_broken(boards: Boards, bits: int, flagged: wire.Fault) -> None:
    board = boards()
    board.listen(BOOT_S)
    del board.sees["water"]
    board.happens("water", 20.0, bits)
    broken = samples_of(board.listen(1.0), WATER)[1:]
    assert faults_of(broken) == {flagged}
    board.sees["water"] = lambda _: 20.0
    board.listen(0.5)
    assert faults_of(samples_of(board.listen(1.0), WATER)) == {0}


@pytest.mark.parametrize("t_c", [-40.0, 0.0, 23.4375, 99.1, 640.0, 1200.0])
def test_a_converter_that_linearises_gives_its_degrees(boards: Boards, t_c: float) -> None:
    board = boards(FLAME_CHIP=31856)
    board.sees |= {"flame": lambda _: t_c, "flame_cj": lambda _: 31.5}
    came = board.listen(2.0)
    hello = came[0]
    assert isinstance(hello, wire.Hello)
    channel, junction = hello.channels[FLAME], hello.channels[FLAME_JUNCTION]
    assert (channel.kind, channel.scale, junction.scale) == (wire.Kind.THERMOCOUPLE_LINEARISED, 1 / 128, 1 / 64)
    frames = samples_of(came, FLAME)
    assert faults_of(frames) == {0}
    assert np.concatenate([frame.values for frame in frames]) * channel.scale == pytest.approx(t_c, abs=0.5 / 128)
    frames = samples_of(came, FLAME_JUNCTION)
    assert np.concatenate([frame.values for frame in frames]) * junction.scale == pytest.approx(31.5)


@pytest.mark.parametrize("chip", [31855, 31856])
def test_a_thermocouple_converter_that_is_not_there_is_told(boards: Boards, chip: int) -> None:
    board = boards("--flame=0", FLAME_CHIP=chip)
    frames = samples_of(board.listen(2.0), FLAME)
    assert faults_of(frames) == {wire.Fault.NO_ANSWER}


def test_a_pong_has_the_ping_s_time_and_the_present_ticks(boards: Boards) -> None:
    board = boards()
    board.listen(BOOT_S)
    board.send(wire.Ping(2**64 - 1))
    pong = next(message for message in board.listen(0.2) if isinstance(message, wire.Pong))
    hello = hello_of(board)
    assert (pong.boot, pong.time_ns) == (hello.boot, 2**64 - 1)
    assert 0 <= hello.ticks - pong.ticks < 400_000


def test_stopped_it_takes_nothing_but_goes_on_sending_what_it_keeps(boards: Boards) -> None:
    board = boards()
    board.listen(3.0)
    hello = hello_of(board)
    status = status_of(board, wire.Stop(hello.boot))
    assert not status.flags & wire.DeviceFlag.SAMPLING
    assert status.waiting > 0
    board.listen(0.5)
    assert not [message for message in board.listen(2.0) if isinstance(message, wire.Samples)]
    board.send(wire.Resume(hello.boot, {MASS: 0}))
    assert sum(len(frame) for frame in samples_of(board.listen(1.0), MASS)) >= 30
    status = status_of(board, wire.Start(hello.boot))
    assert status.flags & wire.DeviceFlag.SAMPLING
    assert samples_of(board.listen(1.0), MASS)


def test_rates_are_set_as_near_as_can_be_and_told(boards: Boards) -> None:
    board = boards()
    boot = hello_of(board).boot
    for stream, asked_us, got_us in (
        (MASS, 1_000, 50_000),
        (MASS, 40_000_000, 40_000_000),
        (MASS, 320_000, 300_000),
        (WATER, 1_000, 100_000),
        (FLAME, 333_333, 333_000),
        (WATER_JUNCTION, 60_000_000, 60_000_000),
    ):
        board.send(wire.SetRate(boot, stream, asked_us))
        hello = next(message for message in board.listen(0.4) if isinstance(message, wire.Hello))
        assert hello.channels[stream].period_us == got_us
    board.send(wire.SetRate(boot, 9, 100_000))
    board.listen(1.0)
    came = board.listen(6.0)
    for stream, period_us in ((MASS, 300_000), (WATER, 100_000), (FLAME, 333_000)):
        assert np.mean(np.diff(times_us_of(samples_of(came, stream))[-15:])) == pytest.approx(period_us, rel=0.01)


def test_at_80_conversions_a_second_four_are_averaged(boards: Boards) -> None:
    board = boards()
    boot = hello_of(board).boot
    board.send(wire.SetRate(boot, MASS, 50_000))
    board.listen(1.5)
    frames = samples_of(board.listen(4.0), MASS)
    assert np.diff(times_us_of(frames)[-70:]) == pytest.approx(50_000, abs=2_500)
    assert set(np.concatenate([frame.values for frame in frames])) == {84_213}
    tally = board.end()
    assert tally["bridge_conversions"] - tally["bridge_readings"] <= 1
    assert tally["bridge_powered_down"] == 0


def test_what_is_for_another_boot_is_ignored_and_nonsense_is_counted(boards: Boards) -> None:
    board = boards()
    boot = hello_of(board).boot
    board.send(wire.Stop(boot + 1), wire.SetRate(boot + 1, MASS, 50_000), wire.Ack(boot + 1, {MASS: 3}))
    assert samples_of(board.listen(1.0), MASS)
    before = status_of(board, wire.Start(boot))
    assert before.rejected == 0
    board.send_bytes(b"\0no frame\0" + bytes(range(1, 200)) + b"\0")
    after = status_of(board, wire.Start(boot))
    assert after.rejected == 2
    assert after.waiting >= before.waiting


def test_it_tells_how_it_is_every_ten_seconds(boards: Boards) -> None:
    board = boards()
    stati = [message for message in board.listen(31.0) if isinstance(message, wire.Status)]
    assert len(stati) == 3
    assert np.diff([status.ticks for status in stati]) == pytest.approx(10e6, abs=0.3e6)


def test_unacknowledged_samples_come_again_while_the_host_is_there(boards: Boards) -> None:
    board = boards()
    boot = hello_of(board).boot
    status_of(board, wire.Stop(boot))
    board.listen(2.0)
    board.send(wire.Ping(1))
    again = samples_of(board.listen(4.0), MASS)
    assert again
    assert again[0].first_seq == 0
    board.listen(15.0)
    assert not samples_of(board.listen(10.0), MASS), "the host has been away for 15 s"


def test_a_drop_of_the_supply_gives_the_next_boot_id_and_is_told(boards: Boards) -> None:
    board = boards()
    first = hello_of(board).boot
    board.listen(1.0)
    board.happens("brown-out")
    came = board.listen(2.0)
    second = next(message for message in came if isinstance(message, wire.Hello))
    assert second.boot == (first + 1) % 2**32
    assert samples_of(came, MASS)[0].first_seq == 0
    assert status_of(board, wire.Start(second.boot)).flags & wire.DeviceFlag.BROWN_OUT
    assert [boot["boot"] for boot in board.end()["boots"]] == [first, second.boot]


def test_a_program_that_hangs_is_started_anew_within_two_seconds(boards: Boards) -> None:
    board = boards()
    first = hello_of(board).boot
    board.happens("hang")
    came = board.listen(3.5)
    second = next(message for message in came if isinstance(message, wire.Hello))
    assert second.boot == (first + 1) % 2**32
    assert not status_of(board, wire.Start(second.boot)).flags & wire.DeviceFlag.BROWN_OUT


def test_a_blank_board_draws_its_first_boot_id_and_counts_from_there(boards: Boards, tmp_path: Path) -> None:
    eeprom = f"--eeprom={tmp_path / 'eeprom'}"
    ids = []
    for _ in range(3):
        board = boards(eeprom)
        board.listen(BOOT_S + 0.6)
        ids.append(hello_of(board).boot)
        board.end()
    assert ids[0] > 0xFFFF, "drawn, not counted from nothing"
    assert ids == [ids[0], ids[0] + 1, ids[0] + 2]


def test_a_boot_id_whose_writing_was_cut_short_is_not_used_again(boards: Boards, tmp_path: Path) -> None:
    eeprom = tmp_path / "eeprom"
    slots = [number.to_bytes(4, "little") + (~number & 0xFFFFFFFF).to_bytes(4, "little") for number in range(7, 15)]
    slots[2] = slots[2][:6] + b"\xff\xff"
    eeprom.write_bytes(b"".join(slots).ljust(1024, b"\xff"))
    board = boards(f"--eeprom={eeprom}")
    board.listen(BOOT_S)
    assert hello_of(board).boot == 15
    board.end()
    assert eeprom.read_bytes()[:4] == (15).to_bytes(4, "little"), "over the oldest"


def test_the_counter_wraps_and_goes_on(boards: Boards) -> None:
    board = boards("--wrap-after=3")
    came = board.listen(6.0)
    frames = samples_of(came, MASS)
    times = np.concatenate([frame.ticks + frame.offsets_us() for frame in frames])
    assert times[0] > 2**32 - 3_100_000
    assert frames[-1].ticks < 4_000_000
    assert np.abs(np.diff(times) % 2**32 - 100_000).max() <= 64


def test_the_stack_has_room_and_no_pulse_is_too_long(boards: Boards) -> None:
    board = boards(FLAME_CHIP=31856)
    boot = hello_of(board).boot
    board.send(*(wire.SetRate(boot, stream, 100_000) for stream in (WATER, FLAME, WATER_JUNCTION)))
    for _ in range(10):
        board.send(
            wire.Resume(boot, dict.fromkeys(range(5), 0)), wire.Ack(boot, {MASS: 2}), wire.Ping(2**63), wire.Identify()
        )
        board.listen(1.0)
    tally = board.end()
    assert tally["stack_bytes_untouched"] >= 64
    assert tally["bridge_longest_pulse_us"] < 10.0, "60 us would switch the converter off"
    assert tally["bridge_powered_down"] == 0
    assert tally["boots"][-1]["streams"]["mass"]["taken"] == tally["bridge_readings"]


@pytest.mark.parametrize(
    ("air_c", "pressure_pa"), [(25.08, 100_653.0), (-15.0, 70_000.0), (0.0, 101_325.0), (45.0, 84_000.0)]
)
def test_air_comes_as_the_barometer_s_maker_works_it_out(boards: Boards, air_c: float, pressure_pa: float) -> None:
    # The first is the worked example of the BMP280's data sheet, 3.12, from memory; the chip has its constants.
    board = boards("--air", WITH_AIR=1)
    board.sees |= {"ambient": lambda _: air_c, "pressure": lambda _: pressure_pa}
    came = board.listen(7.0)
    hello = came[0]
    assert isinstance(hello, wire.Hello)
    for stream, wanted, within in ((AMBIENT, air_c, 0.02), (PRESSURE, pressure_pa, 8.0)):
        frames = samples_of(came, stream)
        assert faults_of(frames) == {0}
        assert np.concatenate([frame.values for frame in frames]) * hello.channels[stream].scale == pytest.approx(
            wanted, abs=within
        )


def test_a_barometer_that_is_not_there_is_told_and_stops_nothing(boards: Boards) -> None:
    board = boards(WITH_AIR=1)
    came = board.listen(7.0)
    for stream in (AMBIENT, PRESSURE):
        frames = samples_of(came, stream)
        assert faults_of(frames) == {wire.Fault.NO_ANSWER}
    assert sum(len(frame) for frame in samples_of(came, MASS)) > 60
