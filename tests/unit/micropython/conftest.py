"""Lends the tests of the ESP32's sources a MicroPython."""

from micropython_fixture import micropython as micropython
