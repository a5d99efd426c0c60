"""The topics of a bench, as PROTOCOL.md gives them."""

from pathlib import Path

from emberline.links.mqtt_topics import Topics

PROTOCOL = (Path(__file__).parents[3] / "firmware_protocol" / "PROTOCOL.md").read_text(encoding="utf-8")


def test_every_topic_is_in_the_document() -> None:
    topics = Topics("<bench>")
    own = (topics.up, topics.down, topics.online, topics.senml)
    told = tuple(topics[name] for name in ("hello", "live", "event", "summary", "health"))
    assert [topic for topic in (*own, *told) if f"| `{topic}` |" not in PROTOCOL] == []
