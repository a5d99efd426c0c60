"""CBOR maps with small integer keys: reading their fields within bounds, and the typed arrays of RFC 8746."""

import io
from collections.abc import Iterator, Mapping
from typing import Any, cast

import cbor2
import numpy as np
from numpy.typing import NDArray

from emberline_wire.errors import MissingFieldError, NotAMessageError, NotCborError, WrongFieldError
from emberline_wire.limits import MAX_NESTING

Numbers = NDArray[np.generic]

# RFC 8746, section 2.1: the tags of the little-endian forms, which every controller in question has natively.
DTYPE_OF_TAG: dict[int, np.dtype[Any]] = {
    64: np.dtype("u1"),
    69: np.dtype("<u2"),
    70: np.dtype("<u4"),
    72: np.dtype("i1"),
    77: np.dtype("<i2"),
    78: np.dtype("<i4"),
    85: np.dtype("<f4"),
    86: np.dtype("<f8"),
}
_TAG_OF_DTYPE = {dtype: tag for tag, dtype in DTYPE_OF_TAG.items()}


def encode_map(fields: Mapping[int, object]) -> bytes:
    """Return a CBOR map in the core deterministic encoding (RFC 8949, section 4.2.1), fields of value None left out."""
    return cbor2.dumps({key: value for key, value in fields.items() if value is not None}, canonical=True)


def decode_items(body: bytes) -> Iterator[object]:
    """Yield the items of the CBOR sequence (RFC 8742) that `body` is.

    Raises:
        NotCborError: What comes next is no CBOR item, nests deeper than `MAX_NESTING`, has an indefinite length or a
            key twice: where it ends, and with it what follows, cannot be told.

    """
    stream = io.BytesIO(body)
    # Read no further than the item goes, so that the stream says where the next begins.
    decoder = cbor2.CBORDecoder(
        stream, max_depth=MAX_NESTING, allow_indefinite=False, allow_duplicate_keys=False, read_size=1
    )
    while (at := stream.tell()) < len(body):
        try:
            yield decoder.decode()
        except cbor2.CBORDecodeError as exc:
            raise NotCborError(f"from byte {at} on, {len(body)} bytes are no CBOR: {exc}") from exc


def decode_map(body: bytes) -> dict[int, object]:
    """Return what the one map that `body` holds has under whole numbers.

    Raises:
        NotCborError: `body` is not exactly one item that `decode_items` takes.
        NotAMessageError: The item is no map.

    """
    items = list(decode_items(body))
    if len(items) != 1:
        raise NotCborError(f"{len(body)} bytes are {len(items)} items of CBOR, not one")
    return numbered(items[0])


def numbered(item: object) -> dict[int, object]:
    """Return what the map `item` has under whole numbers; other keys are none that any version knows.

    Raises:
        NotAMessageError: It is no map.

    """
    if not isinstance(item, Mapping):
        raise NotAMessageError(f"the body holds {_kind(item)}, not a map")
    # A simple value, a float or a truth value as a key would pass for the number that Python takes for its equal.
    return {key: value for key, value in item.items() if type(key) is int}


def typed_array(values: Numbers) -> cbor2.CBORTag:
    """Return `values` as a typed array.

    Raises:
        WrongFieldError: No tag in use carries its dtype.

    """
    tag = _TAG_OF_DTYPE.get(values.dtype.newbyteorder("<"))
    if tag is None:
        raise WrongFieldError(f"no typed array carries values of dtype {values.dtype}")
    return cbor2.CBORTag(tag, np.ascontiguousarray(values, dtype=DTYPE_OF_TAG[tag]).tobytes())


def take_numbers(fields: Mapping[int, object], key: int, name: str) -> Numbers | None:
    """Return the typed array under `key` as a read-only array over the received bytes, or None if it is absent.

    Raises:
        WrongFieldError: It is no typed array of a kind in use, or its length is no multiple of its item.

    """
    if key not in fields:
        return None
    item = fields[key]
    if not isinstance(item, cbor2.CBORTag) or item.tag not in DTYPE_OF_TAG or not isinstance(item.value, bytes):
        raise WrongFieldError(f"{name} (key {key}) must be a typed array, not {_kind(item)}")
    dtype = DTYPE_OF_TAG[item.tag]
    if len(item.value) % dtype.itemsize:
        raise WrongFieldError(f"{name} (key {key}) has {len(item.value)} bytes, no multiple of {dtype.itemsize}")
    return cast(Numbers, np.frombuffer(item.value, dtype=dtype))


def take_int(fields: Mapping[int, object], key: int, name: str) -> int:
    """Return the integer under `key`.

    Raises:
        MissingFieldError: There is none.
        WrongFieldError: It is something else.

    """
    item = _present(fields, key, name)
    if type(item) is not int:
        raise WrongFieldError(f"{name} (key {key}) must be an integer, not {_kind(item)}")
    return item


def take_number(fields: Mapping[int, object], key: int, name: str) -> float:
    """Return the number under `key`, an integer or a float; raises as `take_int`."""
    item = _present(fields, key, name)
    if type(item) is int and abs(item) < 1 << 64:
        return float(item)
    if type(item) is not float:
        raise WrongFieldError(f"{name} (key {key}) must be a number, not {_kind(item)}")
    return item


def take_text(fields: Mapping[int, object], key: int, name: str) -> str:
    """Return the text under `key`; raises as `take_int`."""
    item = _present(fields, key, name)
    if type(item) is not str:
        raise WrongFieldError(f"{name} (key {key}) must be text, not {_kind(item)}")
    return item


def take_maps(fields: Mapping[int, object], key: int, name: str, most: int) -> list[Mapping[int, object]]:
    """Return the array of at most `most` maps under `key`; raises as `take_int`."""
    item = _present(fields, key, name)
    if not isinstance(item, list | tuple) or len(item) > most or not all(isinstance(entry, Mapping) for entry in item):
        raise WrongFieldError(f"{name} (key {key}) must be an array of at most {most} maps")
    return [numbered(entry) for entry in item]


def take_counts(fields: Mapping[int, object], key: int, name: str) -> dict[int, int]:
    """Return the map from integer to integer under `key`; raises as `take_int`."""
    item = _present(fields, key, name)
    if not isinstance(item, Mapping) or any(type(k) is not int or type(v) is not int for k, v in item.items()):
        raise WrongFieldError(f"{name} (key {key}) must be a map from integer to integer")
    return cast(dict[int, int], dict(item))


def check_range(value: float, least: float, most: float, name: str) -> None:
    """Raise `WrongFieldError` unless `value` lies in [least, most] (a NaN never does)."""
    if not least <= value <= most:
        raise WrongFieldError(f"{name} must lie in {least} to {most}, not {value}")


def check_text(text: str, most_bytes: int, name: str) -> None:
    """Raise `WrongFieldError` unless `text` is 1 to `most_bytes` printable ASCII characters without a blank."""
    if not (0 < len(text) <= most_bytes and text.isascii() and text.isprintable() and " " not in text):
        raise WrongFieldError(
            f"{name} must be 1 to {most_bytes} printable ASCII characters without blanks, not {text!r:.60}"
        )


def _present(fields: Mapping[int, object], key: int, name: str) -> object:
    if key not in fields:
        raise MissingFieldError(f"{name} (key {key}) is missing")
    return fields[key]


def _kind(item: object) -> str:
    if isinstance(item, cbor2.CBORTag):
        return f"an item with tag {item.tag}"
    return type(item).__name__
