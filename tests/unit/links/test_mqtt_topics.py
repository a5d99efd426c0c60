"""The topics of a bench, as PROTOCOL.md gives them."""

from pathlib import Path

import pytest

from emberline.links.mqtt_topics import Topics, bench_of_hello

PROTOCOL = (Path(__file__).parents[3] / "firmware_protocol" / "PROTOCOL.md").read_text(encoding="utf-8")


def test_every_topic_is_in_the_document() -> None:
    topics = Topics("<bench>")
    own = (topics.up, topics.down, topics.online, topics.senml)
    told = tuple(topics[name] for name in ("hello", "live", "event", "summary", "health"))
    assert [topic for topic in (*own, *told) if f"| `{topic}` |" not in PROTOCOL] == []


def test_the_bench_of_a_hello_is_read_from_its_topic() -> None:
    assert bench_of_hello(Topics("yard-2")["hello"]) == "yard-2"


@pytest.mark.parametrize(
    "topic",
    ["emberline/v1/yard/up", "emberline/v2/yard/hello", "yard", "emberline/v1/a/b/hello", "emberline/v1/../hello"],
)
def test_other_topics_are_of_no_bench(topic: str) -> None:
    assert bench_of_hello(topic) is None
