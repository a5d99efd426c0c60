"""Describes what programs of one's own may call, from the docstrings of `emberline.lab`."""

import inspect
import re
from collections.abc import Iterator
from functools import cached_property
from typing import Any

from emberline import lab

SECTION = re.compile(r"^(Args|Returns|Raises):$")
ENTRY = re.compile(r"^ {4}(\w+): (.*)$")


def python() -> str:
    """Return each public function and class with its signature, its contract, and what it raises."""
    functions = [one for one in map(lab.__dict__.get, lab.__all__) if inspect.isfunction(one)]
    lines = [line for one in functions for line in _function(f"lab.{one.__name__}", one, "##")]
    return "\n".join([*lines, *(line for one in (lab.Store, lab.Trial, lab.Comparison) for line in _class(one))])


def _class(one: type) -> Iterator[str]:
    yield f"## {one.__name__}\n"
    yield from _prose(one.__doc__)
    for name, member in vars(one).items():
        if name == "__iter__":
            yield "### for trial in store\n"
            yield from _prose(member.__doc__)
        elif not name.startswith("_"):
            if isinstance(member, property | cached_property):
                yield f"### {name}\n"
                yield from _prose(member.__doc__)
            else:
                yield from _function(name, member, "###")


def _function(name: str, function: Any, heading: str) -> Iterator[str]:
    signature = inspect.signature(function)
    shown = [one for one in signature.parameters.values() if one.name != "self"]
    words = ", ".join(_parameter(one) for one in shown)
    star = next((at for at, one in enumerate(shown) if one.kind is one.KEYWORD_ONLY), None)
    if star is not None:
        parts = [_parameter(one) for one in shown]
        words = ", ".join([*parts[:star], "*", *parts[star:]])
    yield f"{heading} {name.removeprefix('lab.')}\n"
    yield f"```text\n{name}({words})\n```\n"
    yield from _prose(function.__doc__)


def _parameter(one: inspect.Parameter) -> str:
    return one.name if one.default is one.empty else f"{one.name}={one.default!r}"


def _prose(docstring: str | None) -> Iterator[str]:
    """Yield a docstring as Markdown, its sections as lists."""
    for line in inspect.cleandoc(docstring or "").splitlines():
        if section := SECTION.match(line):
            yield f"\n*{section[1]}*\n"
        elif entry := ENTRY.match(line):
            yield f"- `{entry[1]}`: {entry[2]}"
        else:
            yield f"  {line.strip()}" if line.startswith(" " * 8) else line.strip()
    yield ""
