"""Payloads that are no SenML, or only nearly; the standard's own examples are in tests/published."""

import json

import cbor2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberline.links.senml import MAX_BYTES, MAX_RECORDS, Pack, SenmlError, read_senml


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"", "no JSON"),
        (b"[", "no JSON"),
        (b"\xff\xfe", "no CBOR"),
        (b"{}", "no CBOR"),
        (b"[1]", "record 1 is no object"),
        (b"[[]]", "record 1 is no object"),
        (b'[{"n":"a","v":NaN}]', "NaN is no number"),
        (b'[{"n":"a","v":1e999}]', "finite"),
        (b'[{"n":"a","v":true}]', "must be a number"),
        (b'[{"n":"a","v":1,"v":2}]', "given twice"),
        (b'[{"n":7,"v":1}]', "must be text"),
        (b'[{"n":"a","v":1,"t":1e12}]', "out of all bounds"),
        (b'[{"bv":1e308,"n":"a","v":1e308}]', "out of all bounds"),
        (b'[{"n":"' + b"a" * 200 + b'","v":1}]', "letters, digits"),
        (b"[" * 60_000, "no JSON"),
        (b"[" + b'{"n":"a","v":1},' * MAX_RECORDS + b'{"n":"a","v":1}]', "too many"),
        (b"[" + b" " * MAX_BYTES + b"]", "too many"),
        (b"[" + b'{"n":"a","v":' + b"9" * 5_000 + b"}]", "no JSON"),
    ],
    ids=range(18),
)
def test_what_is_no_pack_is_refused_with_a_reason(payload: bytes, words: str) -> None:
    with pytest.raises(SenmlError, match=words):
        read_senml(payload)


@pytest.mark.parametrize(
    ("item", "words"),
    [
        ({}, "array of records"),
        ("text", "array of records"),
        ([{0: "a", "n": "b", 2: 1}], "given twice"),
        ([{0: "a", 2: float("inf")}], "finite"),
        ([{0: "a", 2: cbor2.CBORTag(35, "(")}], "no CBOR|must be a number"),
        ([{0: "a", 2: 2**2000}], "too large"),
        ([[[[[[[[[[]]]]]]]]]], "no CBOR"),
    ],
    ids=range(7),
)
def test_cbor_that_is_no_pack_is_refused_with_a_reason(item: object, words: str) -> None:
    with pytest.raises(SenmlError, match=words):
        read_senml(cbor2.dumps(item), "application/senml+cbor")


def test_bytes_after_a_pack_in_cbor_are_refused() -> None:
    with pytest.raises(SenmlError, match="bytes follow"):
        read_senml(cbor2.dumps([{0: "a", 2: 1}]) + b"\0")


def test_an_empty_pack_and_one_of_base_fields_alone_say_nothing() -> None:
    assert read_senml(b"[]") == Pack((), 0)
    assert read_senml(b'[{"bn":"urn:dev:x:"}]') == Pack((), 0)


def test_decimal_fractions_are_numbers() -> None:
    """RFC 8428, section 6, permits them; the number is the example of RFC 8949, section 3.4.4."""
    item = bytes.fromhex("81a2006161") + bytes.fromhex("02c48221196ab3")
    assert read_senml(item).readings[0].value == 273.15


def test_a_content_type_decides_over_the_first_byte() -> None:
    payload = json.dumps([{"n": "a", "v": 1}]).encode()
    assert len(read_senml(payload, "application/senml+json; charset=utf-8").readings) == 1
    with pytest.raises(SenmlError, match="no CBOR"):
        read_senml(payload, "application/senml+cbor")


_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.binary(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=6,
)
_FIELDS = st.sampled_from(["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x_"])
_RECORDS = st.lists(st.dictionaries(_FIELDS | st.integers(-8, 10), _VALUES, max_size=5), max_size=4)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.binary(max_size=80) | _RECORDS.map(cbor2.dumps) | _RECORDS.map(lambda item: repr(item).encode()))
def test_whatever_comes_is_a_pack_or_refused(payload: bytes) -> None:
    try:
        pack = read_senml(payload)
    except SenmlError:
        return
    assert all(abs(reading.value) < float("inf") for reading in pack.readings)
