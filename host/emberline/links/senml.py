"""Sensor Measurement Lists (SenML, RFC 8428) in JSON and CBOR: from a payload to readings with full names and times.

Base fields are resolved as section 4.6 says; what is no number (text, truth values, data, sums) is passed over and
counted. Times stay as they were sent: absolute, or relative to now (section 4.5.3).
"""

import io
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from math import isfinite
from typing import Any

import cbor2

from emberline.links.errors import LinkError

VERSION = 10
"""Newest version of SenML that this reads (section 4.4)."""
ABSOLUTE_S = 2.0**28
"""Times from here on are seconds since 1970, smaller ones are relative to now (section 4.5.3)."""
LATEST_S = 2.0**33
MAX_BYTES = 64 * 1024
MAX_RECORDS = 2_000
MAX_NAME = 128
MAX_NESTING = 8

_LABELS: Mapping[object, str] = {
    # Section 6, table 4.
    -1: "bver",
    -2: "bn",
    -3: "bt",
    -4: "bu",
    -5: "bv",
    -6: "bs",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_CODE_TAGS = (28, 29, 30, 35, 36, 37)
"""Tags for shared values, fractions, patterns, mail and addresses: none has a place here, and some cost time."""


class SenmlError(LinkError):
    """A payload is no SenML that can be read; the message says what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One number with everything that the base fields say about it.

    Attributes:
        name: Full name.
        unit: As written; empty where none was.
        value: The number, base value added.
        t_s: Seconds since 1970, or from now on where `relative`.
        relative: Whether `t_s` counts from now; 0 says that the sensor gave no time.
    """

    name: str
    unit: str
    value: float
    t_s: float
    relative: bool


@dataclass(frozen=True, slots=True)
class Pack:
    """What one payload holds.

    Attributes:
        readings: In their order.
        passed_over: Records without a number.
    """

    readings: tuple[Reading, ...]
    passed_over: int


@dataclass(frozen=True, slots=True)
class _Base:
    name: str = ""
    unit: str = ""
    time_s: float = 0.0
    value: float = 0.0


def read_senml(payload: bytes, content: str = "") -> Pack:
    """Read a pack.

    Args:
        payload: Its bytes.
        content: Content type, where one was given: `application/senml+json` or `application/senml+cbor`; without one
            the first byte decides.

    Raises:
        SenmlError: It is none.
    """
    if len(payload) > MAX_BYTES:
        raise SenmlError(f"{len(payload)} bytes are too many: send at most {MAX_BYTES} at a time")
    kind = content.partition(";")[0].strip().lower()
    if kind in ("application/senml+cbor", "application/sensml+cbor"):
        records = _from_cbor(payload)
    elif kind in ("application/senml+json", "application/sensml+json") or payload.lstrip()[:1] in (b"[", b""):
        records = _from_json(payload)
    else:
        records = _from_cbor(payload)
    if not isinstance(records, Sequence) or isinstance(records, str | bytes):
        raise SenmlError("a SenML pack is an array of records")
    if len(records) > MAX_RECORDS:
        raise SenmlError(f"{len(records)} records are too many: send at most {MAX_RECORDS} at a time")
    return _resolved(records)


def _resolved(records: Sequence[object]) -> Pack:
    base, readings, passed_over = _Base(), list[Reading](), 0
    for index, record in enumerate(records, 1):
        if not isinstance(record, Mapping):
            raise SenmlError(f"record {index} is no object")
        try:
            base = _based(base, record)
            reading = _reading(base, record)
        except SenmlError as error:
            raise SenmlError(f"record {index}: {error}") from error
        if reading is not None:
            readings.append(reading)
        elif not record.keys() <= _BASE_FIELDS:
            passed_over += 1
    return Pack(tuple(readings), passed_over)


_BASE_FIELDS = {"bn", "bt", "bu", "bv", "bs", "bver"}


def _based(base: _Base, record: Mapping[Any, Any]) -> _Base:
    """Return the base fields that hold from this record on."""
    for field in record:
        # Section 4.4: a field that ends so must be understood by whoever reads the record.
        if isinstance(field, str) and field.endswith("_"):
            raise SenmlError(f"field {field!r} asks for an extension that this program does not know")
    version = record.get("bver", VERSION)
    if type(version) is not int or not 0 < version <= VERSION:
        raise SenmlError(f"version {version!r} is not one that this program reads (1 to {VERSION})")
    if "bn" in record:
        base = replace(base, name=_text(record, "bn"))
    if "bu" in record:
        base = replace(base, unit=_text(record, "bu"))
    if "bt" in record:
        base = replace(base, time_s=_number(record, "bt"))
    if "bv" in record:
        base = replace(base, value=_number(record, "bv"))
    return base


def _reading(base: _Base, record: Mapping[Any, Any]) -> Reading | None:
    if "v" not in record:
        return None
    if any(other in record for other in ("vs", "vb", "vd")):
        raise SenmlError("it has more than one value")
    name = base.name + _text(record, "n")
    if len(name) > MAX_NAME or not _NAME.fullmatch(name):
        raise SenmlError(
            f"name {name[:MAX_NAME]!r} is not one to {MAX_NAME} letters, digits and - : . / _ that begin with a letter "
            "or digit"
        )
    value, t_s = base.value + _number(record, "v"), base.time_s + _number(record, "t")
    if not isfinite(value) or not -ABSOLUTE_S < t_s < LATEST_S:
        raise SenmlError("its value or time is out of all bounds")
    unit = _text(record, "u") if "u" in record else base.unit
    return Reading(name, unit, value, t_s, relative=t_s < ABSOLUTE_S)


def _text(record: Mapping[Any, Any], field: str) -> str:
    value = record.get(field, "")
    if not isinstance(value, str):
        raise SenmlError(f"{field} must be text")
    return value


def _number(record: Mapping[Any, Any], field: str) -> float:
    value = record.get(field, 0.0)
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        raise SenmlError(f"{field} must be a number")
    try:
        number = float(value)
    except (OverflowError, ValueError) as error:
        raise SenmlError(f"{field} is too large a number") from error
    if not isfinite(number):
        raise SenmlError(f"{field} must be a finite number")
    return number


def _from_json(payload: bytes) -> object:
    try:
        return json.loads(payload.decode("utf-8"), object_pairs_hook=_record, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise SenmlError(f"this is no JSON: {error}") from error


def _record(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    record = dict(pairs)
    if len(record) != len(pairs):
        raise ValueError("a field is given twice")
    return record


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _from_cbor(payload: bytes) -> object:
    stream = io.BytesIO(payload)
    decoder = cbor2.CBORDecoder(
        stream, max_depth=MAX_NESTING, allow_duplicate_keys=False, semantic_decoders=dict.fromkeys(_CODE_TAGS, _no_tag)
    )
    try:
        item = decoder.decode()
    except (cbor2.CBORDecodeError, ArithmeticError, ValueError) as error:
        raise SenmlError(f"this is no CBOR: {error}") from error
    try:
        decoder.read(1)
    except cbor2.CBORDecodeEOF:
        pass
    else:
        raise SenmlError("bytes follow the pack")
    if not isinstance(item, Sequence) or isinstance(item, str | bytes):
        return item
    return [_named(record) if isinstance(record, Mapping) else record for record in item]


def _no_tag(_decoder: object, _immutable: bool) -> object:
    raise ValueError("a tag that has no place in SenML")


def _named(record: Mapping[object, object]) -> dict[object, object]:
    """Return a record with its labels replaced by the names of the fields; others stay as they are."""
    named = {(_LABELS.get(key, key) if type(key) is int else key): value for key, value in record.items()}
    if len(named) != len(record):
        raise SenmlError("a field is given twice")
    return named
