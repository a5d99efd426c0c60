"""Loads what every test is held to (guards.py), and brokers for those that ask for one (broker_fixture.py)."""

pytest_plugins = ["guards", "broker_fixture"]
