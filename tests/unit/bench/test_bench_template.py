import re

from emberline.bench.bench_file import default_bench, parse_bench
from emberline.bench.bench_template import TEMPLATE_ROLES, bench_template, template_bench
from emberline.bench.channels import Role


def test_the_template_says_what_is_assumed_without_it() -> None:
    assert parse_bench(bench_template()) == template_bench() == default_bench(TEMPLATE_ROLES)


def test_its_examples_work_when_the_marks_are_taken_off() -> None:
    example = re.compile(r"^# (?=\[|[a-z_]+ = )", re.MULTILINE)
    bench = parse_bench(example.sub("", bench_template()))
    water, mass = bench.by_role(Role.WATER), bench.by_role(Role.MASS)
    assert water is not None
    assert mass is not None
    assert water.calibration != template_bench().channels[0].calibration
    assert mass.calibration != template_bench().channels[2].calibration
    assert bench.serial is not None


def test_it_names_every_other_role() -> None:
    text = bench_template()
    assert all(f'"{role.value}"' in text for role in Role)
