import json

from emberline.trials.guide.course import begin
from emberline.trials.guide.state import FORMAT, Answer, read_guide
from unit.trials.guide.guided import Person, ready


def test_a_state_comes_back_from_the_disk_as_it_was() -> None:
    guide = ready(Person()).guide
    assert read_guide(guide.text) == guide
    assert read_guide(begin(7).text) == begin(7)


def test_a_state_of_another_version_begins_anew() -> None:
    table = json.loads(begin(7).text)
    assert read_guide(json.dumps({**table, "format": FORMAT + 1})) is None


def test_a_step_knows_the_level_it_was_taken_at() -> None:
    guide = ready(Person()).guide
    assert guide.level("fuel") is not None
    assert guide.level("place") is None
    assert guide.level("char") is None
    assert Answer("skipped", 1).level is None
