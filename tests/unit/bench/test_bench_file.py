import re
from pathlib import Path

import pytest

from emberline.bench.bench_file import BenchFileError, Broker, SerialPort, TrialRules, default_bench, parse_bench
from emberline.bench.calibration import Identity, Linear, ThermocoupleCode
from emberline.bench.channels import Calibrated, Role, Warmth, default_channel

SHED = """\
id = "shed-2"
name = "The one in the shed"

[[channel]]
role = "water"
name = "pot probe"
source = "tc1"
time_constant_s = 0.4
[channel.thermocouple]
kind = "T"
class = 1
converter_error_c = 0.7
degrees_per_code = 0.0078125
correction_c = -0.35
u_correction_c = 0.15

[[channel]]
role = "flame"
[channel.thermocouple]
kind = "N"
flat_uv_k = 29.0

[[channel]]
role = "mass"
u_drift_per_hour = 0.8
[[channel.point]]
load = 0.0
counts = 84210
[[channel.point]]
load = 1000.0
counts = 503000
[[channel.point]]
load = 2000.0
counts = 922210
[[channel.point]]
load = 1000.0
counts = 503420

[[channel]]
role = "pot_mass"
capacity_g = 3000
[channel.line]
zero_counts = 1200.0
counts_per_unit = -210.5

[serial]
vendor_id = 0x1A86
product_id = 0x7523
device = "shed-logger"
baud = 57600

[trial]
end_after_flameout_min = 45
"""


def problems(text: str) -> list[str]:
    with pytest.raises(BenchFileError) as caught:
        parse_bench(text)
    return [str(problem) for problem in caught.value.problems]


def test_a_described_bench_arrives() -> None:
    bench = parse_bench(SHED)
    assert (bench.id, bench.name) == ("shed-2", "The one in the shed")
    assert [channel.role for channel in bench.channels] == [Role.WATER, Role.FLAME, Role.MASS, Role.POT_MASS]
    assert bench.serial == SerialPort(vendor_id=0x1A86, product_id=0x7523, device="shed-logger", baud=57_600)
    assert bench.trial == TrialRules(2_700.0)
    assert [channel.capacity_g for channel in bench.channels] == [None, None, None, 3_000.0]


def test_a_compared_probe_has_the_uncertainty_of_its_comparison() -> None:
    water = parse_bench(SHED).by_role(Role.WATER)
    assert water is not None
    assert (water.name, water.source, water.time_constant_s) == ("pot probe", "tc1", 0.4)
    assert water.calibration == ThermocoupleCode("T", 0.0078125, None, -0.35)
    assert water.u_bias == 0.15
    assert water.u_scale == pytest.approx(0.004 / 3**0.5, abs=5e-5)


def test_an_uncompared_probe_has_that_of_its_wire_and_converter() -> None:
    flame = parse_bench(SHED).by_role(Role.FLAME)
    assert flame is not None
    assert flame.calibration == ThermocoupleCode("N", None, 29.0)
    assert flame.u_bias == pytest.approx(((2.5**2 + 2.0**2) / 3.0) ** 0.5)
    assert flame.time_constant_s == default_channel(Role.FLAME).time_constant_s


def test_points_give_line_and_uncertainties() -> None:
    mass = parse_bench(SHED).by_role(Role.MASS)
    assert mass is not None
    assert isinstance(mass.calibration, Linear)
    assert mass.calibration.counts_per_unit == pytest.approx(419.0, rel=1e-6)
    assert mass.u_drift_per_hour == 0.8
    assert 0.2 < mass.u_bias < 0.4
    assert 0.0003 < mass.u_scale < 0.0005


def test_two_points_say_nothing_about_linearity() -> None:
    points = "[[channel.point]]\nload = 0\ncounts = 0\n[[channel.point]]\nload = 1000\ncounts = 419000"
    mass = parse_bench('[[channel]]\nrole = "mass"\n' + points).by_role(Role.MASS)
    assumed = default_channel(Role.MASS)
    assert mass is not None
    assert (mass.u_bias, mass.u_scale) == (assumed.u_bias, assumed.u_scale)


def test_a_line_may_be_given_outright() -> None:
    pot = parse_bench(SHED).by_name("pot_mass")
    assert pot is not None
    assert pot.calibration == Linear(1200.0, -210.5)


def test_default_bench_has_the_assumed_channels() -> None:
    bench = default_bench([Role.WATER, Role.MASS])
    assert bench.channels == (default_channel(Role.WATER), default_channel(Role.MASS))
    assert bench.channels[0].calibration == Identity()
    assert bench.by_role(Role.CO) is None
    assert bench.by_name("flame") is None
    assert bench.serial is None


def test_a_name_is_made_from_the_id() -> None:
    assert parse_bench('id = "back-yard"\n[[channel]]\nrole = "water"').name == "Back yard"


WATER = '[[channel]]\nrole = "water"\n'


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "a bench needs a [[channel]]"),
        ('id = "a b"\n' + WATER, "line 1: id = 'a b' may hold letters"),
        ('[[channel]]\nrole = "watter"', "line 2: role must be one of water, flame"),
        ('[[channel]]\nname = "x"', "line 1: a channel needs a role"),
        (WATER + WATER, "line 4: role water is taken already"),
        (WATER + '[[channel]]\nrole = "mass"\nname = "water"', "line 5: name water is taken already"),
        (WATER + "u_bia = 1", "line 3: unknown key u_bia in [channel]; did you mean u_bias?"),
        (WATER + "u_scale = 0.75", "line 3: u_scale = 0.75 is outside 0 to 0.5: a percentage?"),
        (WATER + "time_constant_s = 1500", "line 3: time_constant_s = 1500 is outside 0 to 600 s: milliseconds?"),
        (WATER + "[channel.thermocouple]\ncorrection_c = 1", "line 4: correction_c and u_correction_c belong together"),
        (WATER + "[channel.thermocouple]\nkind = 'R'", "line 4: kind must be one of K, J, N, T"),
        (WATER + "[channel.thermocouple]\nclass = 3", "line 4: class = 3 is outside 1 to 2"),
        (
            '[[channel]]\nrole = "mass"\n[channel.thermocouple]\nkind = "K"',
            "line 4: a channel of role mass measures no",
        ),
        (WATER + "[channel.line]\nzero_counts = 3", "line 4: [channel.line] needs zero_counts and counts_per_unit"),
        (WATER + "[channel.line]\nzero_counts = 3\ncounts_per_unit = 0", "line 3: counts_per_unit must be a number"),
        (WATER + "[[channel.point]]\nload = 3", "line 4: a [[channel.point]] needs load and counts"),
        (WATER + "[[channel.point]]\nload = 3\ncounts = 5", "line 3: a calibration needs two different loads"),
        (WATER + "capacity_g = 5000", "line 3: a channel of role water weighs nothing"),
        (
            WATER.replace("water", "mass") + "capacity_g = 5",
            "line 3: capacity_g = 5 is outside 50 to 1e+06 g: kilograms?",
        ),
        (WATER + "[serial]\nbaud = 9600", "line 3: [serial] needs port, or vendor_id and product_id"),
        (WATER + "[trial]\nend_after_flameout_min = 0", "line 4: end_after_flameout_min = 0 is outside"),
        (WATER + "[sreial]\nport = 'x'", "line 3: unknown key sreial; did you mean serial?"),
    ],
)
def test_slips_are_refused_with_their_line_and_a_hint(text: str, problem: str) -> None:
    found = problems(text)
    assert len(found) == 1, found
    assert found[0].startswith(problem)


def test_line_and_points_exclude_each_other() -> None:
    text = WATER + "[channel.line]\nzero_counts = 3\ncounts_per_unit = 2\n[[channel.point]]\nload = 0\ncounts = 1"
    assert any("say the same thing" in problem for problem in problems(text))


MASS = '[[channel]]\nrole = "mass"\n'


def test_a_broker_arrives() -> None:
    text = '[mqtt]\nhost = "b.local"\nuser = "ember"\npassword_file = "word"\ndevice = "dev"\n'
    assert parse_bench(MASS + text).broker == Broker("b.local", user="ember", password_file="word", device="dev")  # noqa: S106
    assert parse_bench(MASS).broker is None


def test_a_certificate_means_encryption() -> None:
    broker = parse_bench(MASS + '[mqtt]\nhost = "b"\nca_file = "ca.crt"\n').broker
    assert broker is not None
    assert broker.tls


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("port = 1883", "needs host"),
        ('host = "b"\nport = 70000', "outside 1 to 65535"),
        ('host = "b"\npassword = "x"', "does not belong here"),
        ('host = "b"\ncertificate_file = "c"', "belong together"),
        ('host = "b"\ntls = false\nca_file = "c"', "leaves no use"),
        ('host = "b"\npasword_file = "c"', "password_file"),
    ],
)
def test_a_broker_that_cannot_be_is_told_with_what_to_do(text: str, words: str) -> None:
    assert any(words in problem for problem in problems(f"{MASS}[mqtt]\n{text}\n"))


FOUND = """
[[channel]]
role = "mass"
[channel.line]
zero_counts = 84000.0
counts_per_unit = 420.0
correction = 0.5
[channel.warmth]
g_per_k = -0.12
u_g_per_k = 0.01
u_drift_per_hour = 0.3
[[channel.calibration]]
kind = "mass"
number = 4
made = "2025-11-25T12:00:00Z"
"""


def test_what_a_persons_calibrations_found_is_read() -> None:
    mass = parse_bench(FOUND).channels[0]
    assert mass.calibration == Linear(84_000.0, 420.0, correction=0.5)
    assert mass.warmth == Warmth(-0.12, 0.01, 0.3)
    assert mass.calibrated == (Calibrated("mass", 4, "2025-11-25T12:00:00Z"),)


@pytest.mark.parametrize(
    ("was", "becomes", "words"),
    [
        ("u_g_per_k = 0.01\n", "", "needs g_per_k, u_g_per_k and u_drift_per_hour"),
        ('role = "mass"', 'role = "water"', "weighs nothing"),
        ("number = 4\n", "", "leave it to the program"),
    ],
)
def test_findings_that_are_not_whole_are_told(was: str, becomes: str, words: str) -> None:
    with pytest.raises(BenchFileError, match=words):
        parse_bench(FOUND.replace(was, becomes))


def test_a_port_has_the_speed_of_the_reference_board_where_nobody_says_another() -> None:
    config = Path(__file__).parents[3] / "firmware_protocol" / "firmware" / "emberline_bench" / "config.h"
    (told,) = re.findall(r"^#define BAUD (\d+)$", config.read_text(), re.MULTILINE)
    assert SerialPort("/dev/x").baud == int(told)
