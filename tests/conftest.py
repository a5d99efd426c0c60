"""Loads what every test is held to (guards.py), and what some ask for: brokers, certificates, compiled C, boards."""

pytest_plugins = [
    "guards",
    "broker_fixture",
    "certificate_fixture",
    "wire_c_fixture",
    "compiled_fixture",
    "emulated_fixture",
]
