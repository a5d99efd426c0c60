from emberline.links.pace import INTERVALS, Pace

SECOND_NS = 1_000_000_000


def test_a_pace_is_told_once_it_is_known_and_another() -> None:
    pace = Pace()
    news = [pace.note(k * SECOND_NS // 10) for k in range(20)]
    assert news.index(True) == INTERVALS // 2
    assert sum(news) == 1
    assert round(pace.told_s, 3) == 0.1


def test_a_pace_near_the_one_told_is_no_news() -> None:
    pace = Pace()
    assert not any(pace.note(k * SECOND_NS * 12 // 10) for k in range(30))
    assert pace.told_s == 1.0


def test_times_that_run_back_count_for_nothing() -> None:
    pace = Pace()
    assert not any(pace.note(-k * SECOND_NS) for k in range(30))
