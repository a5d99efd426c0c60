"""SenML against the examples of RFC 8428 (August 2018), written down from memory; sections are named beside each."""

import pytest

from emberline.links.senml import SenmlError, read_senml

SECTION_5_1_1 = b"""[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]"""

SECTION_5_1_2_BASE_NAME = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
  {"n":"current","u":"A","v":1.2}
]"""

SECTION_5_1_2_CURRENTS = b"""[
  {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}
]"""

SECTION_5_1_2_POSITIONS = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
  {"u":"lon","v":24.30621},
  {"u":"lat","v":60.07965},
  {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622},
  {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623},
  {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2},
  {"u":"lon","t":180,"v":24.30628},
  {"u":"lat","t":180,"v":60.07967}
]"""

SECTION_5_1_4 = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
  {"n":"label","vs":"Machine Room"},
  {"n":"open","vb":false},
  {"n":"nfc-reader","vd":"aGkgCg"}
]"""

SECTION_5_1_5 = b"""[
  {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
  {"n":"humidity","u":"%RH","v":30},
  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
  {"n":"humidity","u":"%RH","v":67}
]"""

SECTION_6 = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f6c74616765"
    "01615602fb405e066666666666"
    "a3006763757272656e74062402fb3ff3333333333333"
    "a3006763757272656e74062302fb3ff4cccccccccccd"
    "a3006763757272656e74062202fb3ff6666666666666"
    "a3006763757272656e74062102f93e00"
    "a3006763757272656e74062002fb3ff999999999999a"
    "a3006763757272656e74060002fb3ffb333333333333"
)
"""The labels of table 4 applied to the second example of section 5.1.2; 1.5 as a half-width float."""


def rows(payload: bytes, content: str = "") -> list[tuple[str, str, float, float]]:
    return [(one.name, one.unit, one.t_s, one.value) for one in read_senml(payload, content).readings]


def test_a_single_reading() -> None:
    (reading,) = read_senml(SECTION_5_1_1).readings
    assert (reading.name, reading.unit, reading.value) == ("urn:dev:ow:10e2073a01080063", "Cel", 23.1)
    # Without a time it is one of about now (section 4.5.3).
    assert (reading.relative, reading.t_s) == (True, 0.0)


def test_a_base_name_stands_before_each_name() -> None:
    assert rows(SECTION_5_1_2_BASE_NAME) == [
        ("urn:dev:ow:10e2073a01080063:voltage", "V", 0.0, 120.1),
        ("urn:dev:ow:10e2073a01080063:current", "A", 0.0, 1.2),
    ]


CURRENTS = [
    ("urn:dev:ow:10e2073a0108006:voltage", "V", 1276020076.001, 120.1),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1276020071.001, 1.2),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1276020072.001, 1.3),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1276020073.001, 1.4),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1276020074.001, 1.5),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1276020075.001, 1.6),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1276020076.001, 1.7),
]
"""The resolved records of section 5.1.3."""


def test_times_are_added_to_the_base_time_and_the_base_unit_holds_where_none_is_given() -> None:
    assert rows(SECTION_5_1_2_CURRENTS) == CURRENTS
    assert not any(one.relative for one in read_senml(SECTION_5_1_2_CURRENTS).readings)


def test_the_same_in_cbor() -> None:
    assert rows(SECTION_6) == CURRENTS
    assert rows(SECTION_6, "application/senml+cbor") == CURRENTS


def test_a_base_name_alone_is_a_name() -> None:
    found = rows(SECTION_5_1_2_POSITIONS)
    assert {name for name, *_ in found} == {"urn:dev:ow:10e2073a01080063"}
    assert found[3] == ("urn:dev:ow:10e2073a01080063", "%RH", 1320067524.0, 20.3)
    assert found[9] == ("urn:dev:ow:10e2073a01080063", "%EL", 1320067614.0, 98.0)
    assert len(found) == 13


def test_what_is_no_number_is_passed_over_and_counted() -> None:
    pack = read_senml(SECTION_5_1_4)
    assert [one.name for one in pack.readings] == ["urn:dev:ow:10e2073a01080063:temp"]
    assert pack.passed_over == 3


def test_a_later_base_name_replaces_the_one_before_and_the_base_time_stays() -> None:
    assert rows(SECTION_5_1_5) == [
        ("2001:db8::2/temperature", "Cel", 1320078429.0, 25.2),
        ("2001:db8::2/humidity", "%RH", 1320078429.0, 30.0),
        ("2001:db8::1/temperature", "Cel", 1320078429.0, 12.3),
        ("2001:db8::1/humidity", "%RH", 1320078429.0, 67.0),
    ]


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (b'[{"bver":11,"n":"a","v":1}]', "version 11"),  # section 4.4
        (b'[{"n":"a","v":1,"new_":2}]', "extension"),  # section 4.4
        (b'[{"n":"-a","v":1}]', "begin with a letter"),  # section 4.5.1
        (b'[{"n":"a b","v":1}]', "letters, digits"),  # section 4.5.1
        (b'[{"v":1}]', "name ''"),  # section 4.5.1
        (b'[{"n":"a","v":1,"vs":"x"}]', "more than one value"),  # section 4.2
        (b'[{"n":"a","v":"1"}]', "must be a number"),  # section 4.3
    ],
)
def test_what_the_standard_forbids_is_refused(record: bytes, words: str) -> None:
    with pytest.raises(SenmlError, match=words):
        read_senml(record)


def test_a_base_value_is_added_and_unknown_fields_are_ignored() -> None:
    """Sections 4.5.4 and 4.4."""
    assert rows(b'[{"bn":"a/","bv":20,"n":"x","v":0.5,"colour":"red"},{"n":"y","v":-1}]') == [
        ("a/x", "", 0.0, 20.5),
        ("a/y", "", 0.0, 19.0),
    ]


def test_times_below_two_to_the_28th_are_relative_to_now() -> None:
    """Section 4.5.3."""
    below, above = read_senml(b'[{"n":"a","v":1,"t":268435455},{"n":"a","v":1,"t":268435456}]').readings
    assert (below.relative, above.relative) == (True, False)
