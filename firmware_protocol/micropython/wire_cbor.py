"""As much CBOR as the wire needs (RFC 8949): the core deterministic encoding out, and in whatever is sound."""

import struct

MAX_NESTING = 4


class WireError(Exception):
    """Bytes from outside are not as the protocol asks; the first argument is a name of PROTOCOL.md, section 12."""


class Tagged:
    """An item with a tag, as typed arrays are (RFC 8746)."""

    def __init__(self, tag: int, item: object):
        self.tag = tag
        self.item = item


class Other:
    """A simple value or a truth value: nothing that the wire uses, and equal to no number."""


def encode(item: object) -> bytes:
    """Return the encoding of whole numbers, floats, text, bytes, lists, tagged items, and maps with numbers as keys."""
    if isinstance(item, int):
        return _head(0, item) if item >= 0 else _head(1, -1 - item)
    if isinstance(item, float):
        return _float(item)
    if isinstance(item, str):
        text = item.encode()
        return _head(3, len(text)) + text
    if isinstance(item, bytes):
        return _head(2, len(item)) + item
    if isinstance(item, Tagged):
        return _head(6, item.tag) + encode(item.item)
    if isinstance(item, list):
        return _head(4, len(item)) + b"".join([encode(one) for one in item])
    # A map of MicroPython has no order of its own; numbers in rising order are the order of their encodings.
    return _head(5, len(item)) + b"".join([encode(key) + encode(item[key]) for key in sorted(item)])


def decode(data: bytes) -> object:
    """Return the one item that `data` holds.

    A map becomes a dict of what it has under whole numbers. Raises `WireError`.
    """
    reader = _Reader(data)
    item = reader.item(MAX_NESTING)
    if reader.at != len(data):
        raise WireError("NotCborError", "bytes follow the item")
    return item


def _head(major: int, number: int) -> bytes:
    if number < 24:
        return bytes((major << 5 | number,))
    for info in (24, 25, 26, 27):
        size = 1 << (info - 24)
        if number < 1 << 8 * size:
            return bytes((major << 5 | info,)) + number.to_bytes(size, "big")
    raise ValueError("no whole number of 64 bits")


def _float(number: float) -> bytes:
    if abs(number) <= 65504 and struct.unpack(">e", struct.pack(">e", number))[0] == number:
        return b"\xf9" + struct.pack(">e", number)
    if struct.unpack(">f", struct.pack(">f", number))[0] == number:
        return b"\xfa" + struct.pack(">f", number)
    return b"\xfb" + struct.pack(">d", number)


class _Reader:
    def __init__(self, data: bytes):
        self.at = 0
        self._data = data

    def take(self, count: int) -> bytes:
        end = self.at + count
        if end > len(self._data):
            raise WireError("NotCborError", "an item goes beyond the end")
        piece = self._data[self.at : end]
        self.at = end
        return piece

    def item(self, levels: int) -> object:
        first = self.take(1)[0]
        major, info = first >> 5, first & 31
        if info > 27:
            raise WireError("NotCborError", "an indefinite length, or an item that means nothing")
        number = info if info < 24 else int.from_bytes(self.take(1 << (info - 24)), "big")
        if major == 0:
            return number
        if major == 1:
            return -1 - number
        if major == 2:
            return self.take(number)
        if major == 3:
            return self._text(number)
        if major == 7:
            return self._simple(info, number)
        if levels == 0 and not (major < 6 and number == 0):
            raise WireError("NotCborError", "nested too deep")
        if major == 4:
            if number > len(self._data):
                raise WireError("NotCborError", "an item goes beyond the end")
            return [self.item(levels - 1) for _ in range(number)]
        if major == 5:
            return self._map(number, levels - 1)
        return Tagged(number, self.item(levels - 1))

    def _text(self, count: int) -> str:
        try:
            return self.take(count).decode()
        except UnicodeError as exc:
            raise WireError("NotCborError", "text that is not UTF-8") from exc

    def _map(self, count: int, levels: int) -> dict:
        found, others = {}, set()
        for _ in range(count):
            start = self.at
            key = self.item(levels)
            whole = type(key) is int
            name = key if whole else self._data[start : self.at]
            if name in (found if whole else others):
                raise WireError("NotCborError", "a key given twice")
            item = self.item(levels)
            if whole:
                found[key] = item
            else:
                others.add(name)
        return found

    def _simple(self, info: int, number: int) -> object:
        if info == 24 and number < 32:
            raise WireError("NotCborError", "a simple value in two bytes that has one")
        if info < 25:
            return Other()
        size = 1 << (info - 24)
        return struct.unpack((">e", ">f", ">d")[info - 25], number.to_bytes(size, "big"))[0]
