import json
from importlib.resources import files
from pathlib import Path

from documentation import words

from emberline.bench.channels import Role
from emberline.bench.co_limits import CO_LIMITS
from emberline.curves.events import EventKind, Phase
from emberline.heat.results import RESULT_NAMES
from emberline.trials.alarms import AlarmKind

PAGE = Path(__file__).parents[3] / "host" / "docs" / "reference" / "words.md"


def test_every_word_is_there() -> None:
    for text, names in (
        (words.results(), RESULT_NAMES),
        (words.roles(), Role),
        (words.alarms(), AlarmKind),
        (words.co_limits(), CO_LIMITS),
        (PAGE.read_text(encoding="utf-8"), (*EventKind, *Phase)),
    ):
        assert [name for name in names if f"`{name}`" not in text] == []


def test_the_summarys_keys_are_those_of_its_schema() -> None:
    schema = json.loads(files("emberline.trials").joinpath("summary.schema.json").read_text(encoding="utf-8"))
    text = words.summary()
    assert [key for key in schema["properties"] if f"| `{key}` |" not in text] == []
    assert "| `u` | number | Standard uncertainty. |" in text
    assert "| `events` | list of [event](#a-event) |" in text


def test_figures_have_the_names_under_which_they_are_told() -> None:
    text = words.metrics()
    assert "| `emberline_samples_lost_total` | `bench` | Samples flagged lost. |" in text
    assert "| `emberline_alarm` | `bench`, `kind` |" in text
    assert "emberline_forwarding_rows_refused_total" in text
