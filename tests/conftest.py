"""Loads what every test is held to (guards.py), and brokers and certificates for those that ask for them."""

pytest_plugins = ["guards", "broker_fixture", "certificate_fixture"]
