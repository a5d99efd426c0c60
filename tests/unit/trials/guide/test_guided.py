from unit.trials.guide.guided import Person, ready


def test_the_person_of_these_tests_comes_to_the_trial() -> None:
    assert ready(Person()).guide.at == "ready"
