"""Courses and recordings of packaged scenarios, each made once."""

from collections.abc import Callable
from functools import cache

import pytest

from emberline_sim.course import Course, run_course
from emberline_sim.recording import Recording, record
from emberline_sim.scenario import load_scenario


@cache
def _course(name: str) -> Course:
    return run_course(load_scenario(name))


@cache
def _recording(name: str) -> Recording:
    return record(load_scenario(name))


@pytest.fixture
def course() -> Callable[[str], Course]:
    return _course


@pytest.fixture
def recording() -> Callable[[str], Recording]:
    return _recording
