"""Loads what every test is held to (guards.py)."""

pytest_plugins = ["guards"]
