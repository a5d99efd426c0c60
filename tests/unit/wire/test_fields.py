"""CBOR maps and typed arrays."""

import cbor2
import numpy as np
import pytest

from emberline_wire.errors import MissingFieldError, NotAMessageError, NotCborError, WrongFieldError
from emberline_wire.fields import (
    check_range,
    check_text,
    decode_map,
    encode_map,
    take_counts,
    take_int,
    take_maps,
    take_number,
    take_numbers,
    take_text,
    typed_array,
)


@pytest.mark.parametrize("dtype", ["u1", "<u2", "<u4", "i1", "<i2", "<i4", "<f4", "<f8"])
def test_tags_of_typed_arrays_follow_the_standard(dtype: str) -> None:
    """RFC 8746, section 2.1: the tag is 0b010_f_s_e_ll: float, signed, little-endian, size."""
    kind = np.dtype(dtype)
    is_float, size = kind.kind == "f", kind.itemsize
    ll = {1: 0, 2: 1, 4: 2, 8: 3}[size] - (1 if is_float else 0)
    little = 1 if size > 1 else 0
    tag = 0b010_00000 | is_float << 4 | (kind.kind == "i") << 3 | little << 2 | ll
    array = np.array([1, 2], dtype=kind)
    assert typed_array(array).tag == tag
    taken = take_numbers({7: typed_array(array)}, 7, "values")
    assert taken is not None
    assert taken.dtype == kind
    np.testing.assert_array_equal(taken, array)


def test_big_endian_values_are_turned_and_unknown_types_refused() -> None:
    assert typed_array(np.array([258], dtype=">i2")) == cbor2.CBORTag(77, b"\x02\x01")
    with pytest.raises(WrongFieldError):
        typed_array(np.array([1], dtype=np.int64))


@pytest.mark.parametrize(
    ("item", "hex_"),
    [(0, "00"), (23, "17"), (24, "1818"), (1000, "1903e8"), (1000000, "1a000f4240"), (-1, "20"), (1.5, "f93e00")],
)
def test_items_are_encoded_as_in_the_standards_examples(item: object, hex_: str) -> None:
    """RFC 8949, appendix A."""
    assert encode_map({0: item}).hex() == "a100" + hex_


def test_a_map_is_sorted_and_leaves_out_what_is_none() -> None:
    assert encode_map({3: 1, 0: 2, 1: None}).hex() == "a200020301"


def test_a_map_comes_back_and_anything_else_does_not() -> None:
    assert decode_map(bytes.fromhex("a200020301")) == {0: 2, 3: 1}
    with pytest.raises(NotAMessageError):
        decode_map(b"\x00")
    for body in (b"", b"\xa1", b"\xa1\x00\x00\x00", b"\xff"):
        with pytest.raises(NotCborError):
            decode_map(body)


def test_fields_of_the_wrong_type_are_refused() -> None:
    fields: dict[int, object] = {1: True, 2: "x", 3: [1], 4: {1: "x"}, 5: 1 << 70, 6: 2.5, 7: [1, 2]}
    for take in (take_int, take_number, take_text, take_counts):
        with pytest.raises(MissingFieldError, match="thing \\(key 0\\)"):
            take(fields, 0, "thing")
        with pytest.raises(WrongFieldError, match="thing \\(key 3\\)"):
            take(fields, 3, "thing")
    for take in (take_int, take_number):
        with pytest.raises(WrongFieldError):
            take(fields, 1, "thing")
    with pytest.raises(WrongFieldError):
        take_number(fields, 5, "thing")
    with pytest.raises(WrongFieldError):
        take_counts(fields, 4, "thing")
    with pytest.raises(WrongFieldError):
        take_maps(fields, 7, "thing", 5)
    with pytest.raises(WrongFieldError):
        take_numbers(fields, 3, "thing")
    assert take_numbers(fields, 99, "thing") is None
    assert take_number(fields, 6, "thing") == 2.5


def test_bounds() -> None:
    check_range(5, 5, 5, "n")
    for value in (4, 6, float("nan")):
        with pytest.raises(WrongFieldError):
            check_range(value, 5, 5, "n")
    check_text("mass_2", 16, "name")
    for text in ("", "x" * 17, "Temperatur °C", "a b", "tab\t"):
        with pytest.raises(WrongFieldError):
            check_text(text, 16, "name")
