"""Passwords and tokens: nothing that holds one tells it when it is printed, and errors about them do not quote them."""

import dataclasses
import importlib
import pkgutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import emberline
from emberline.bench.bench_file import Broker
from emberline.config import PASSWORD_VARIABLE, BrokerAccess
from emberline.service.forwarding.server_file import TOKEN_VARIABLE, TimeSeriesServer
from emberline.service.forwarding.target import Target
from emberline.web.door import Door

SECRET = "a-secret-of-the-tests"  # noqa: S105 made up
SAYS_SECRET = ("password", "token", "secret", "passphrase", "environment")
"""What a field is called that may hold one."""
NAMES_A_FILE = ("password_file", "token_file")


def told(one: object) -> str:
    """Return what is told of an object, however it is printed."""
    return f"{one} {one!r} {[one]!r} {one:}"


def test_the_way_to_a_broker_and_to_a_server_hold_no_secret_that_is_printed(tmp_path: Path) -> None:
    environment = {PASSWORD_VARIABLE: SECRET, TOKEN_VARIABLE: SECRET}
    broker = BrokerAccess(Broker("b", user="ember"), tmp_path, environment)
    server = TimeSeriesServer("http://127.0.0.1:1", environment=environment)
    assert (broker.password(), server.token()) == (SECRET, SECRET)
    target = Target(server)
    try:
        for one in (broker, server, target, target._client, target._api):
            assert SECRET not in told(one)
    finally:
        target.close()


def test_the_door_does_not_tell_its_token() -> None:
    nothing: Any = SimpleNamespace()
    assert SECRET not in told(Door(nothing, SECRET))


def test_no_class_prints_a_field_that_may_hold_a_secret() -> None:
    found = 0
    for module in pkgutil.walk_packages(emberline.__path__, "emberline."):
        if module.name.endswith("__main__"):
            continue
        for name, kind in vars(importlib.import_module(module.name)).items():
            if not isinstance(kind, type) or not dataclasses.is_dataclass(kind) or kind.__module__ != module.name:
                continue
            for field in dataclasses.fields(kind):
                if any(word in field.name for word in SAYS_SECRET) and field.name not in NAMES_A_FILE:
                    found += 1
                    assert not field.repr, f"{module.name}.{name}.{field.name}"
    # Were the fields called otherwise, this would look at nothing.
    assert found >= 2
