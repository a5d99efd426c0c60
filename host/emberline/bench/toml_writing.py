"""Text as it stands in a TOML file."""

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any


def quoted(text: str) -> str:
    """Return a text as a TOML basic string (TOML 1.0.0, section String), which any reader turns back into the text.

    The escapes of a JSON string (RFC 8259, section 7) are all known to TOML, which besides wants DEL escaped.
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def written(table: Mapping[str, Any]) -> str:
    """Return a table of texts, numbers, flags, tables and lists of tables as TOML, which reads as the same table.

    Tables of nothing but texts stand on one line, as people write factors.
    """
    return "\n".join(_lines(table, ())).strip("\n") + "\n"


def _lines(table: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[str]:
    below: list[tuple[str, Any]] = []
    for key, value in table.items():
        if (isinstance(value, Mapping) and (path or not _is_words(value))) or (
            isinstance(value, Sequence) and not isinstance(value, str)
        ):
            below.append((key, value))
        else:
            yield f"{_key(key)} = {_scalar(value)}"
    for key, value in below:
        name = ".".join(map(_key, (*path, key)))
        for part in [value] if isinstance(value, Mapping) else value:
            yield ""
            yield f"[{name}]" if isinstance(value, Mapping) else f"[[{name}]]"
            yield from _lines(part, (*path, key))


def _is_words(value: Mapping[str, Any]) -> bool:
    return all(isinstance(one, str) for one in value.values())


def _scalar(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        pairs = ", ".join(f"{_key(key)} = {quoted(one)}" for key, one in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    return quoted(value) if isinstance(value, str) else repr(value)


def _key(key: str) -> str:
    bare = key.isascii() and key.replace("-", "").replace("_", "").isalnum()
    return key if bare else quoted(key)
