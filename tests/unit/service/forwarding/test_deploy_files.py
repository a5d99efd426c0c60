"""The dashboard and the server's files name what is really sent."""

import json
import re
from pathlib import Path

from emberline.heat.results import RESULT_NAMES
from emberline.service.forwarding.rows import FIELDS
from emberline.service.forwarding.server_file import load_server

DEPLOY = Path(__file__).parents[4] / "deploy"


def test_the_dashboard_asks_only_for_what_is_sent() -> None:
    text = (DEPLOY / "grafana" / "bench.json").read_text()
    dashboard = json.loads(text)
    sent = {f"{measurement}_{field}" for measurement, fields in FIELDS.items() for field in fields}
    named = set(re.findall(r"emberline_(?:sample|event|result)_\w+", text))
    assert named <= sent
    assert {"emberline_sample_value", "emberline_event_t_s", "emberline_result_value"} <= named
    assert set(re.findall(r'result=\\"(\w+)\\"', text)) <= set(RESULT_NAMES)
    numbers = [panel["id"] for panel in dashboard["panels"]]
    assert len(set(numbers)) == len(numbers)


def test_the_servers_file_is_one_that_is_read() -> None:
    server = load_server(DEPLOY / "victoria-metrics" / "server.toml", {})
    assert server.url == "http://127.0.0.1:8428"
