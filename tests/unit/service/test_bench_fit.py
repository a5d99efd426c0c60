import dataclasses

import pytest

from emberline.bench.bench_file import Bench, TrialRules, default_bench, parse_bench
from emberline.bench.calibration import Identity, Linear, ThermocoupleCode
from emberline.bench.channels import Calibrated, Role, Warmth
from emberline.links.arrivals import DeviceChannel, Greeting
from emberline.service.bench_fit import bench_text, device_names, fitted_bench
from emberline.service.errors import ServiceError

GREETING = Greeting(
    "dev",
    1,
    "1.0",
    (
        DeviceChannel("mass", "g", 0.1, 0.002, 84_000),
        DeviceChannel("water", "c", 0.25, 0.25, 0),
        DeviceChannel("water_cj", "c", 1.0, 1 / 16, 0, serves="water"),
        DeviceChannel("button", "g", 1.0, 1.0, 0),
    ),
    1.0,
    8.0,
)

BENCH = """
id = "yard"
[[channel]]
role = "mass"
name = "scale"
source = "mass"
[[channel.point]]
load = 0.0
counts = 84100
[[channel.point]]
load = 2000.0
counts = 1084100
[[channel.point]]
load = 1000.0
counts = 584150
[[channel]]
role = "water"
[channel.thermocouple]
kind = "K"
class = 1
correction_c = 1.4
u_correction_c = 0.3
[trial]
end_after_flameout_min = 12.5
"""


def test_without_a_bench_file_streams_named_like_roles_are_used() -> None:
    bench = fitted_bench(None, GREETING)
    assert [channel.role for channel in bench.channels] == [Role.MASS, Role.WATER]
    mass, water = bench.channels
    assert mass.calibration == Linear(84_000.0, 500.0)
    assert water.calibration == Linear(0.0, 4.0)


def test_a_converter_of_one_slope_is_linearised_though_the_bench_file_does_not_ask_for_it() -> None:
    streams = (DeviceChannel("water", "c", 0.25, 0.25, 0, flat=True), DeviceChannel("flame", "c", 0.25, 0.25, 0))
    water, flame = fitted_bench(None, dataclasses.replace(GREETING, channels=streams)).channels
    assert water.calibration == ThermocoupleCode("K", 0.25, 41.276)
    assert flame.calibration == Linear(0.0, 4.0)


def test_without_a_bench_file_names_and_units_tell_the_roles() -> None:
    named = {
        "scale": "g",
        "pot": "c",
        "air": "c",
        "tc_flame": "c",
        "cell": "c",
        "baro": "pa",
        "CO": "ppm",
        "spare": "c",
    }
    streams = tuple(DeviceChannel(name, unit, 1.0, 0.25, 0) for name, unit in named.items())
    bench = fitted_bench(None, dataclasses.replace(GREETING, channels=streams))
    assert {channel.name: channel.role for channel in bench.channels} == {
        "scale": Role.MASS,
        "pot": Role.WATER,
        "air": Role.AMBIENT,
        "tc_flame": Role.FLAME,
        "cell": Role.CELL_TEMPERATURE,
        "baro": Role.PRESSURE,
        "CO": Role.CO,
    }
    assert parse_bench(bench_text(bench)) == bench


def test_a_unit_that_does_not_go_with_a_role_makes_no_channel_of_it() -> None:
    streams = (DeviceChannel("mass", "c", 1.0, 0.25, 0), DeviceChannel("water", "c", 1.0, 0.25, 0))
    bench = fitted_bench(None, dataclasses.replace(GREETING, channels=streams))
    assert [channel.role for channel in bench.channels] == [Role.WATER]


def test_a_measured_calibration_stands_and_the_device_fills_what_is_missing() -> None:
    bench = fitted_bench(parse_bench(BENCH), GREETING)
    scale, water = bench.channels
    assert isinstance(scale.calibration, Linear)
    assert scale.calibration.counts_per_unit == pytest.approx(500.0, rel=1e-3)
    assert scale.calibration.zero_counts != 84_000.0
    assert isinstance(water.calibration, ThermocoupleCode)
    assert (water.calibration.degrees_per_code, water.calibration.correction_c) == (0.25, 1.4)


def test_names_of_the_device_are_led_to_those_of_the_bench() -> None:
    assert device_names(parse_bench(BENCH)) == {"mass": "scale"}
    assert device_names(None) == {}


def test_a_channel_that_the_device_does_not_send_is_named() -> None:
    bench = parse_bench('[[channel]]\nrole = "flame"\n')
    with pytest.raises(ServiceError, match=r"sends no flame, but button, mass, water.*`source`"):
        fitted_bench(bench, GREETING)


def test_a_channel_in_the_wrong_unit_is_refused() -> None:
    bench = parse_bench('[[channel]]\nrole = "flame"\nsource = "mass"\n')
    with pytest.raises(ServiceError, match=r"flame.*sends g"):
        fitted_bench(bench, GREETING)


def test_a_device_without_a_usable_name_asks_for_a_bench_file() -> None:
    stranger = dataclasses.replace(GREETING, channels=(DeviceChannel("ch0", "g", 0.1, 1.0, 0),))
    with pytest.raises(ServiceError, match=r"sends ch0.*emberline init"):
        fitted_bench(None, stranger)


@pytest.mark.parametrize(
    "bench",
    [
        fitted_bench(None, GREETING),
        fitted_bench(parse_bench(BENCH), GREETING),
        default_bench(Role),
        dataclasses.replace(parse_bench(BENCH), name='a "quoted" \\ name', trial=TrialRules(77.0 * 60.0)),
        parse_bench('[[channel]]\nrole = "mass"\ncapacity_g = 5000.0\n'),
        parse_bench('[[channel]]\nrole = "water"\n[channel.thermocouple]\nkind = "N"\nflat_uv_k = 36.256\n'),
    ],
)
def test_a_bench_written_out_is_the_same_bench(bench: Bench) -> None:
    again = parse_bench(bench_text(bench))
    assert dataclasses.replace(again, serial=bench.serial) == bench


def test_nothing_is_left_to_defaults_of_later_versions() -> None:
    text = bench_text(default_bench([Role.WATER]))
    for key in ("u_bias", "u_scale", "u_drift_per_hour", "resolution", "time_constant_s", "u_time_constant_s"):
        assert f"\n{key} = " in text
    assert isinstance(parse_bench(text).channels[0].calibration, Identity)


def test_values_in_a_unit_are_taken_as_they_are_and_only_a_probes_correction_applies() -> None:
    text = """
[[channel]]
role = "water"
[channel.thermocouple]
kind = "K"
flat_uv_k = 41.276
correction_c = 1.5
u_correction_c = 0.3
[[channel]]
role = "mass"
[channel.line]
zero_counts = 84000.0
counts_per_unit = 419.0
"""
    streams = (
        DeviceChannel("water", "c", 1.0, 1.0, 0, calibrated=True),
        DeviceChannel("mass", "g", 1.0, 1.0, 0, calibrated=True),
    )
    water, mass = fitted_bench(parse_bench(text), dataclasses.replace(GREETING, channels=streams)).channels
    assert water.calibration == ThermocoupleCode("K", None, None, 1.5)
    assert mass.calibration == Identity()


def test_numbers_without_a_unit_are_counts_that_the_bench_file_calibrates() -> None:
    streams = (DeviceChannel("mass", "", 1.0, 1.0, 0),)
    text = '[[channel]]\nrole = "mass"\n[channel.line]\nzero_counts = 84000.0\ncounts_per_unit = 419.0\n'
    (mass,) = fitted_bench(parse_bench(text), dataclasses.replace(GREETING, channels=streams)).channels
    assert mass.calibration == Linear(84_000.0, 419.0)


def test_values_in_a_unit_of_no_use_to_the_role_are_refused() -> None:
    streams = (DeviceChannel("water", "V", 1.0, 1.0, 0, calibrated=True),)
    with pytest.raises(ServiceError, match="sends V"):
        fitted_bench(parse_bench('[[channel]]\nrole = "water"\n'), dataclasses.replace(GREETING, channels=streams))


def test_what_calibrations_found_is_written_and_read_again() -> None:
    fitted = fitted_bench(parse_bench(BENCH), GREETING)
    scale, water = fitted.channels
    marks = (Calibrated("mass", 3, "2025-11-25T12:00:00Z"), Calibrated("drift", 5, "2025-11-26T12:00:00Z"))
    line = Linear(84_001.0, 501.0, correction=0.25)
    found = dataclasses.replace(scale, calibration=line, warmth=Warmth(0.12, 0.01, 0.3), calibrated=marks)
    bench = dataclasses.replace(fitted, channels=(found, water))
    assert parse_bench(bench_text(bench)) == bench


def test_the_text_of_a_bench_says_when_its_alarms_are_raised() -> None:
    bench = parse_bench('[[channel]]\nrole = "co"\n[alarms]\nflame_longest_min = 20\nco_limits = ["idlh"]\n')
    assert parse_bench(bench_text(bench)).alarms == bench.alarms
