"""Line protocol: types never change, times are distinct milliseconds, and nothing breaks a line."""

import math
import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from influxdb_client.client.write.point import Point
from influxdb_client.domain.write_precision import WritePrecision
from uncertainties import ufloat

from emberline.bench.bench_file import parse_bench
from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.curves.events import Event, EventKind
from emberline.service.forwarding.rows import FIELDS, Kind, Sampler, event_rows, head, replaced_row, result_rows, row

BENCH = parse_bench(
    'id = "yard"\n[[channel]]\nrole = "mass"\n[channel.line]\nzero_counts = 100\ncounts_per_unit = 10\n'
)
TEXT = st.text(st.characters(blacklist_categories=("Cs", "Cc"), blacklist_characters="\\"), min_size=1, max_size=12)


def batch(t_ms: list[float], raw: list[float], flags: list[int] | None = None, channel: str = "mass") -> SampleBatch:
    t_ns = np.array([round(one * 1e6) for one in t_ms], dtype=np.int64) + 10**18
    return SampleBatch("dev", 1, channel, 0, t_ns, np.array(raw), np.array(flags or [0] * len(raw), dtype=np.uint8))


def rows(*batches: SampleBatch, every_s: float = 0.0) -> list[str]:
    return list(Sampler(every_s).rows("yard", BENCH, batches))


def times(lines: list[str]) -> list[float]:
    return [(int(line.rsplit(" ", 1)[1]) - 10**18) / 1e6 for line in lines]


def test_a_sample_is_sent_raw_and_calibrated() -> None:
    assert rows(batch([0.0], [1100.0])) == [
        (
            "emberline_sample,bench=yard,channel=mass,device=dev,role=mass "
            "value=100.0,raw=1100.0,fault=0i 1000000000000000000"
        )
    ]


def test_a_fault_has_no_value_and_still_a_row() -> None:
    (line,) = rows(batch([0.0], [1100.0], [FLAG_FAULT]))
    assert " raw=1100.0,fault=1i " in line
    (line,) = rows(batch([0.0], [math.nan]))
    assert line.endswith(" fault=0i 1000000000000000000")


def test_a_channel_that_no_bench_file_names_goes_raw() -> None:
    (line,) = rows(batch([0.0], [5.0], channel="spare"))
    assert line.startswith("emberline_sample,bench=yard,channel=spare,device=dev raw=5.0,fault=0i ")


def test_a_converter_of_one_slope_has_a_value_though_its_cold_junction_came_earlier() -> None:
    bench = parse_bench(
        'id = "yard"\n[[channel]]\nrole = "flame"\n[channel.thermocouple]\nkind = "K"\n'
        "flat_uv_k = 41.276\ndegrees_per_code = 0.25\n"
    )
    sampler = Sampler(0.0)
    assert " value=" not in "".join(sampler.rows("yard", bench, [batch([0.0], [1600.0], channel="flame")]))
    list(sampler.rows("yard", bench, [batch([100.0], [25.0], channel="flame.cold_junction")]))
    for one in (sampler.ahead(), sampler):
        (line,) = one.rows("yard", bench, [batch([250.0], [1600.0], channel="flame")])
        assert " value=401." in line


def test_two_samples_within_a_millisecond_stay_two() -> None:
    assert times(rows(batch([0.0, 0.4, 0.9, 3.0], [1.0, 2.0, 3.0, 4.0]))) == [0.0, 1.0, 2.0, 3.0]


def test_one_sample_in_so_many_seconds_over_batches_and_benches() -> None:
    sampler = Sampler(1.0)
    first = list(
        sampler.rows("yard", BENCH, [batch([0, 400, 900, 1000, 1700], [1.0] * 5), batch([1900, 2050], [1.0] * 2)])
    )
    assert times(first) == [0.0, 1000.0, 2050.0]
    assert times(list(sampler.rows("yard", BENCH, [batch([2900, 3000], [1.0] * 2)]))) == [3000.0]
    assert len(list(sampler.rows("shed", BENCH, [batch([2900], [1.0])]))) == 1


def test_events_and_results_are_numbers() -> None:
    events = [
        Event(EventKind.REFUEL, 90.5, 1.0, "step", ufloat(61.0, 0.5)),
        Event(EventKind.BOIL, 10.0, 2.0, "x", confirmed=False),
    ]
    assert list(event_rows("yard", "t 1", 3, 10**18, events)) == [
        (
            "emberline_event,bench=yard,kind=refuel,revision=3,trial=t\\ 1 "
            "t_s=90.5,u_s=1.0,size_g=61.0,confirmed=1i,replaced=0i 1000000090500000000"
        ),
        (
            "emberline_event,bench=yard,kind=boil,revision=3,trial=t\\ 1 "
            "t_s=10.0,u_s=2.0,confirmed=0i,replaced=0i 1000000010000000000"
        ),
    ]
    document = {"results": {"thermal_efficiency": {"value": 0.25, "u": None, "unit": "", "interval_95": [0.2, None]}}}
    assert list(result_rows("yard", "t", 3, 10**18, document)) == [
        (
            "emberline_result,bench=yard,result=thermal_efficiency,revision=3,trial=t "
            "value=0.25,low_95=0.2,replaced=0i 1000000000000000000"
        )
    ]


def test_a_row_that_holds_no_more_is_named_by_stream_and_time() -> None:
    (line,) = event_rows("yard", "t 1", 3, 10**18, [Event(EventKind.BOIL, 10.0, 2.0, "x")])
    assert replaced_row(line) == (
        "emberline_event,bench=yard,kind=boil,revision=3,trial=t\\ 1 replaced=1i 1000000010000000000"
    )


def test_a_row_without_anything_known_is_no_row() -> None:
    assert row("emberline_result", {"bench": "b"}, {"value": math.nan, "u": math.inf}, 0) == ""


def test_a_field_outside_the_table_is_refused() -> None:
    with pytest.raises(KeyError):
        row("emberline_result", {}, {"colour": 1.0}, 0)


@given(TEXT, TEXT, st.floats(allow_nan=False, allow_infinity=False), st.integers(0, 2**62))
def test_a_line_is_that_of_the_clients_own_encoder(bench: str, trial: str, value: float, t_ns: int) -> None:
    """influxdb-client's `Point` writes the same stream; text that it would leave breakable is what we replace."""
    tags = {"bench": bench, "trial": trial}
    line = row("emberline_result", tags, {"value": value}, t_ns)
    point: Any = Point("emberline_result")  # type: ignore[no-untyped-call]
    point = point.time(t_ns // 10**6 * 10**6, WritePrecision.NS)
    for name, text in tags.items():
        if text.strip():
            point = point.tag(name, text)
    expected = point.field("value", value).to_line_protocol()
    assert line.split(" value=")[0] == expected.split(" value=")[0]
    assert line.rsplit(" ", 1)[1] == expected.rsplit(" ", 1)[1]
    assert float(line.rsplit("value=", 1)[1].split(" ")[0]) == value


@given(st.text(min_size=1, max_size=20))
def test_no_text_breaks_a_line(name: str) -> None:
    line = row("emberline_result", {"bench": name}, {"value": 1.0}, 0)
    assert "\n" not in line
    assert "\r" not in line
    assert len(re.findall(r"(?<!\\) ", line)) == 2


def test_every_field_keeps_its_type() -> None:
    for measurement, fields in FIELDS.items():
        for name, kind in fields.items():
            for value in (0, 1, 2.5, -3.0, 1e300):
                line = row(measurement, {}, {name: value}, 0)
                assert (line.split(" ")[1].endswith("i")) == (kind is Kind.INTEGER)


def test_heads_are_sorted_and_without_empty_tags() -> None:
    assert head("m", {"role": "", "b": "x", "a": "1,2"}) == "m,a=1\\,2,b=x"
