from dataclasses import fields, is_dataclass

import pytest

from emberline_sim import specs


@pytest.mark.parametrize("name", [name for name in dir(specs) if name.endswith("Spec")])
def test_every_key_is_described(name: str) -> None:
    spec = getattr(specs, name)
    assert is_dataclass(spec)
    documented = spec.__doc__ or ""
    if "Attributes:" in documented:
        assert [field.name for field in fields(spec) if f" {field.name}:" not in documented] == []
    else:
        assert documented
