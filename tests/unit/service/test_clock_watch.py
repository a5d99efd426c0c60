from pathlib import Path

import pytest

from emberline.service.clock import Clock
from emberline.service.clock_watch import ClockWatch, clock_after
from emberline.store.notices import NoticeKind
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS, batch


class Machine:
    """A machine whose monotonic clock and wall clock are the test's."""

    def __init__(self, *, set_ns: int = NOON_NS) -> None:
        self.monotonic_s = 100.0
        self.wall_offset_ns = set_ns - self.monotonic_ns()

    def monotonic_ns(self) -> int:
        return round(self.monotonic_s * 1e9)

    def utc_ns(self) -> int:
        return self.monotonic_ns() + self.wall_offset_ns

    def clock(self) -> Clock:
        return Clock(1.0, self.utc_ns(), self.monotonic_s, lambda: self.monotonic_s)

    def watch(self) -> ClockWatch:
        return ClockWatch(self.clock(), self.utc_ns)

    def step(self, seconds: float) -> None:
        self.wall_offset_ns += round(seconds * 1e9)


def test_a_clock_that_runs_on_is_no_news() -> None:
    machine = Machine()
    watch = machine.watch()
    for _ in range(100):
        machine.monotonic_s += 3_600.0
        machine.step(0.001)
        assert watch.look() is None
    assert watch.warning() == ""
    assert not watch.due


@pytest.mark.parametrize(
    ("step_s", "way"),
    [(3_600.0, "forward by 1 h 0 min"), (-3_600.0, "back by 1 h 0 min"), (-86_400.0, "back by 1 d 0 h")],
)
def test_a_step_is_told_once_and_stays_a_warning(step_s: float, way: str) -> None:
    machine = Machine()
    watch = machine.watch()
    before_ns = watch.clock.now_ns()
    machine.step(step_s)
    notice = watch.look()
    assert notice is not None
    assert (notice.t_ns, notice.kind) == (before_ns, NoticeKind.CLOCK), "readings keep to the time they began in"
    assert way in notice.text
    assert watch.look() is None
    assert ("ahead of" if step_s > 0 else "behind") in watch.warning()


def test_only_a_step_forward_is_taken_up_since_one_back_would_mix_readings() -> None:
    machine = Machine()
    watch = machine.watch()
    machine.step(-10.0)
    watch.look()
    assert not watch.due
    machine.step(30.0)
    watch.look()
    assert watch.due
    assert watch.step_s == pytest.approx(20.0)


def test_a_clock_that_was_set_and_set_back_is_sound_again() -> None:
    machine = Machine()
    watch = machine.watch()
    for step_s in (50.0, -50.0):
        machine.step(step_s)
        assert watch.look() is not None
    assert watch.warning() == ""


def test_a_clock_that_was_never_set_is_told() -> None:
    assert "not set" in Machine(set_ns=30 * SECOND_NS).watch().warning()


def test_a_fast_clock_is_not_compared_with_the_wall() -> None:
    machine = Machine()
    watch = ClockWatch(Clock(60.0, machine.utc_ns(), machine.monotonic_s, lambda: machine.monotonic_s), machine.utc_ns)
    machine.monotonic_s += 100.0
    assert watch.look() is None
    assert watch.warning() == ""


def test_without_a_later_reading_the_clock_shows_utc(tmp_path: Path) -> None:
    machine = Machine(set_ns=NOON_NS + 60 * SECOND_NS)
    assert clock_after(tmp_path / "s", machine.clock).now_ns() == machine.utc_ns()
    with Store.open(tmp_path / "s") as store:
        store.commit("b", [batch(0, 10)])
    assert clock_after(tmp_path / "s", machine.clock).now_ns() == machine.utc_ns()


def test_a_clock_behind_the_newest_reading_goes_on_from_it(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s") as store:
        store.commit("b", [batch(0, 10)])
    machine = Machine(set_ns=NOON_NS - 3_600 * SECOND_NS)
    clock = clock_after(tmp_path / "s", machine.clock)
    assert clock.now_ns() == NOON_NS + 900_000_000 + SECOND_NS
    watch = ClockWatch(clock, machine.utc_ns)
    assert watch.look() is None
    assert "1 h 0 min behind the newest reading" in watch.warning()
    assert not watch.due
