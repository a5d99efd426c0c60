import pytest

from emberline.bench.alarm_rules import AlarmRules, alarm_rules_text
from emberline.bench.bench_file import parse_bench
from emberline.bench.co_limits import CO_LIMITS
from emberline.bench.errors import BenchFileError

BENCH = '[[channel]]\nrole = "co"\n'


def rules(text: str = "") -> AlarmRules:
    return parse_bench(BENCH + text).alarms


def test_without_a_word_every_limit_holds() -> None:
    assert rules() == AlarmRules()
    assert [limit.name for limit in rules().co] == list(CO_LIMITS)


def test_a_person_chooses_limits() -> None:
    chosen = rules('[alarms]\nflame_longest_min = 45\ncell_hottest_c = 50\nco_limits = ["who-1h", "idlh", "who-1h"]\n')
    assert chosen == AlarmRules(2_700.0, 50.0, (CO_LIMITS["who-1h"], CO_LIMITS["idlh"]))


def test_a_sensor_in_smoke_has_no_limits() -> None:
    assert rules("[alarms]\nco_limits = []\n").co == ()


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ('co_limits = ["who-15m"]', "did you mean who-15min"),
        ('co_limits = "who-1h"', "list of texts"),
        ("flame_longest_min = 3600", "seconds"),
        ("cell_hottest_c = 10", "outside 30 to 150"),
        ("co_limit = []", "did you mean co_limits"),
    ],
)
def test_slips_are_told(line: str, problem: str) -> None:
    with pytest.raises(BenchFileError, match=problem):
        rules(f"[alarms]\n{line}\n")


def test_its_text_reads_as_the_same_rules() -> None:
    for chosen in (AlarmRules(), AlarmRules(100.0, 55.5, ()), AlarmRules(co=(CO_LIMITS["idlh"],))):
        assert rules("\n".join(alarm_rules_text(chosen))) == chosen
