from emberline.trials.alarms.alarm import TITLES, Alarm, AlarmKind


def test_an_alarm_stands_until_it_is_cleared() -> None:
    assert Alarm(AlarmKind.PROBE_OUT, 60.0, "it hangs in the air").cleared_s is None


def test_titles_say_what_to_look_at_in_a_line() -> None:
    for title in TITLES.values():
        assert title[0].isupper()
        assert len(title) < 60
