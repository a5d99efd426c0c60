"""The state of a guided burn: where it is, and what was answered. It is kept as JSON between looks and restarts."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from emberline.trials.guide.level import Level
from emberline.trials.guide.weighing import Stand

FORMAT = 1


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of one step.

    Attributes:
        how: `scale`, `typed`, `list` (as it stands in the inventory or in the last plan), `seen` (the bench saw it
            happen) or `skipped`.
        at_ns: When, UTC nanoseconds.
        values: What it gives, by key of the plan: value and standard uncertainty.
        words: What was found, for people.
        level: The level that was taken, where it was the scale's.
        alone: Whether the thing stood alone on the cleared scale.
    """

    how: str
    at_ns: int
    values: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    words: str = ""
    level: Level | None = None
    alone: bool = False


@dataclass(frozen=True, slots=True)
class Guide:
    """A guided burn.

    Attributes:
        begun_ns: When it began, UTC nanoseconds.
        at: Id of the step that it is at.
        base: The plan that it began from, as tables: entries of the inventory, or the last plan.
        last: The last plan, where it began as that one did.
        kindling: Whether kindling is weighed apart.
        answers: What became of the steps, by id.
        stand: Where the scale's level has been since the last thing was taken.
        air_c: What the water probe showed as its step began.
        trial: The trial that was opened; None before.
        marks_ns: When something happened that later steps count from: `lit`, `pot_off`, `flameout`, `snuffed`.
        plan_written: The plan that the trial was given last.
    """

    begun_ns: int
    at: str = "begin"
    base: Mapping[str, Any] = field(default_factory=dict)
    last: Mapping[str, Any] | None = None
    kindling: bool = False
    answers: Mapping[str, Answer] = field(default_factory=dict)
    stand: Stand = field(default_factory=Stand)
    air_c: float | None = None
    trial: str | None = None
    marks_ns: Mapping[str, int] = field(default_factory=dict)
    plan_written: str = ""

    def level(self, step: str) -> Level | None:
        """Return the level that was taken at a step, or None."""
        answer = self.answers.get(step)
        return None if answer is None else answer.level

    @property
    def text(self) -> str:
        """The state as JSON, which reads as the same state."""
        return json.dumps({"format": FORMAT, **asdict(self)}, ensure_ascii=False)


def read_guide(text: str) -> Guide | None:
    """Return the state that a text holds; None where another version wrote it, for then it begins anew."""
    table = json.loads(text)
    if table.pop("format", None) != FORMAT:
        return None
    table["answers"] = {step: _answer(answer) for step, answer in table["answers"].items()}
    table["stand"] = Stand(**{key: _level(level) for key, level in table["stand"].items()})
    return Guide(**table)


def _answer(table: dict[str, Any]) -> Answer:
    values = {key: (float(pair[0]), float(pair[1])) for key, pair in table["values"].items()}
    return Answer(table["how"], table["at_ns"], values, table["words"], _level(table["level"]), table["alone"])


def _level(table: dict[str, Any] | None) -> Level | None:
    return None if table is None else Level(**table)
