"""Loads what every test is held to (guards.py), and what some ask for: brokers, certificates, the C codec, boards."""

pytest_plugins = ["guards", "broker_fixture", "certificate_fixture", "wire_c_fixture", "emulated_fixture"]
