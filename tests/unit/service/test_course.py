import numpy as np

from emberline.bench.channels import Role, default_channel
from emberline.service import course as module
from emberline.service.course import GATHERED, MOST_POINTS, Course
from emberline.trials.live_readings import Readings

S = 1_000_000_000


def readings(role: Role, times_s: list[float], values: list[float]) -> list[Readings]:
    t_ns = np.array([round(t * S) for t in times_s], dtype=np.int64)
    return [Readings(default_channel(role), t_ns, np.array(values))]


def test_a_second_is_the_mean_of_its_readings_from_any_number_of_commits() -> None:
    course = Course()
    course.take(readings(Role.WATER, [100.1, 100.3, 101.0], [20.0, 22.0, 30.0]))
    course.take(readings(Role.WATER, [100.9], [27.0]))
    assert course.since(0, 0) == {"t": [100.5, 101.5], "water": [23.0, 30.0]}


def test_a_viewer_is_given_what_has_changed_since_it_looked() -> None:
    course = Course()
    course.take(readings(Role.MASS, [100.0, 101.0], [900.0, 899.0]))
    seen = course.version
    assert course.since(seen, 0)["t"] == []
    course.take(readings(Role.MASS, [102.0], [898.0]))
    assert course.since(seen, 0) == {"t": [102.5], "mass": [898.0]}


def test_readings_that_come_late_fill_the_hole_they_left() -> None:
    course = Course()
    course.take(readings(Role.MASS, [100.0, 130.0], [900.0, 870.0]))
    seen = course.version
    course.take(readings(Role.MASS, [110.0, 120.0], [890.0, 880.0]))
    assert course.since(seen, 0)["t"] == [110.5, 120.5]
    assert course.since(0, 0)["mass"] == [900.0, 890.0, 880.0, 870.0]


def test_faults_are_gaps_and_series_keep_step() -> None:
    course = Course()
    course.take(readings(Role.WATER, [100.0, 101.0], [20.0, float("nan")]))
    course.take(readings(Role.MASS, [101.0], [900.0]))
    assert course.since(0, 0) == {"t": [100.5, 101.5], "mass": [None, 900.0], "water": [20.0, None]}


def test_an_estimate_is_replaced_by_the_next_one_of_its_second() -> None:
    course = Course()
    course.estimate(100 * S, 5.0)
    course.estimate(100 * S, 6.0)
    assert course.since(0, 0) == {"t": [100.5], "burning_rate": [6.0]}


def test_a_long_course_is_thinned_when_it_is_handed_over_whole() -> None:
    course = Course()
    times_s = [float(t) for t in range(4 * MOST_POINTS)]
    course.take(readings(Role.MASS, times_s, times_s))
    whole = course.since(0, 0)
    assert len(whole["t"]) == MOST_POINTS
    assert whole["t"][:2] == [2.0, 6.0]
    assert whole["mass"][:2] == [1.5, 5.5]
    assert len(course.since(0, (4 * MOST_POINTS - 10) * S)["t"]) == 10


def test_what_is_old_is_let_go() -> None:
    course = Course()
    for second in range(module.LOOK_EVERY):
        course.take(readings(Role.MASS, [float(second)], [1.0]))
        course.keep(40 * S)
    assert course.since(0, 0)["t"][0] == 40.5


def test_an_earlier_course_is_taken_in() -> None:
    course, earlier = Course(), Course()
    course.take(readings(Role.MASS, [101.0], [899.0]))
    earlier.take(readings(Role.MASS, [100.0, 101.0], [900.0, 901.0]))
    seen = course.version
    course.add(earlier)
    assert course.since(seen, 0) == {"t": [100.5, 101.5], "mass": [900.0, 900.0]}


def test_an_hour_of_a_bench_takes_little_memory() -> None:
    """As objects, an hour took megabytes: a thousand benches would have had to share gigabytes."""
    course = Course()
    for second in range(3600):
        for role in (Role.WATER, Role.FLAME, Role.AMBIENT, Role.MASS):
            course.take(readings(role, [float(second), second + 0.5], [1.0, 2.0]))
        course.keep(0)
    assert len(course.since(0, 0)["t"]) == 1200
    kept = [course._changed, *(array for one in course._series.values() for array in (one.sums, one.counts))]
    assert sum(array.nbytes for array in kept) < 300_000


def test_a_time_far_ahead_costs_no_more_memory_than_a_day_and_leaves_what_comes_after_it() -> None:
    course = Course()
    course.take(readings(Role.MASS, [100.0], [1.0]))
    course.take(readings(Role.MASS, [4e9], [2.0]))
    course.take(readings(Role.MASS, [101.0, 4e9 + 1.0], [9.0, 3.0]))
    assert course.since(0, 0) == {"t": [4e9 + 0.5, 4e9 + 1.5], "mass": [2.0, 3.0]}
    assert len(course._changed) < 1.3 * module.MOST_S


def test_it_is_what_a_dictionary_of_seconds_would_hold() -> None:
    dice = np.random.default_rng(20251128)
    course, plain = Course(), dict[int, list[float]]()
    for _ in range(400):
        start_s = int(dice.integers(1_000, 2_000))
        times_s = start_s + np.sort(dice.uniform(0.0, 4.0, 7))
        values = dice.uniform(-5.0, 5.0, 7)
        course.take(readings(Role.MASS, times_s.tolist(), values.tolist()))
        course.keep(0)
        for t_s, value in zip(times_s.tolist(), values.tolist(), strict=True):
            plain.setdefault(int(t_s), []).append(value)
    document = course.since(0, 0)
    assert document["t"] == [second + 0.5 for second in sorted(plain)]
    by_second = dict(zip(document["t"], document["mass"], strict=True))
    assert len(by_second) > 700
    for middle, value in by_second.items():
        assert middle is not None
        assert value is not None
        assert abs(value - float(np.mean(plain[int(middle)]))) < 0.006


def test_many_commits_are_added_up_whether_somebody_looks_or_not() -> None:
    looked, unseen = Course(), Course()
    for second in range(3 * GATHERED + 1):
        for course in (looked, unseen):
            course.take(readings(Role.MASS, [second + 0.25, second + 0.75], [second, second + 1.0]))
        assert looked.since(looked.version - 1, 0) == {"t": [second + 0.5], "mass": [second + 0.5]}
    assert 0 < unseen._takes < GATHERED
    assert unseen.since(0, 0) == looked.since(0, 0)
    assert len(unseen.since(0, 0)["t"]) == 3 * GATHERED + 1
