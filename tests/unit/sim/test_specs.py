from dataclasses import fields, is_dataclass
from types import ModuleType

import pytest

from emberline_sim import specs, trial_specs

SPECS = [(module, name) for module in (specs, trial_specs) for name in vars(module) if name.endswith("Spec")]


@pytest.mark.parametrize(("module", "name"), SPECS)
def test_every_key_is_described(module: ModuleType, name: str) -> None:
    spec = getattr(module, name)
    assert is_dataclass(spec)
    documented = spec.__doc__ or ""
    if "Attributes:" in documented:
        assert [field.name for field in fields(spec) if f" {field.name}:" not in documented] == []
    else:
        assert documented
