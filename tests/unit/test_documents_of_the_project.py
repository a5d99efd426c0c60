"""README.md and DEVELOPERS.md cannot lag behind the program: what exists is in them, and their examples work."""

import json
import re
import shlex
import tomllib
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from emberline.bench.bench_file import parse_bench
from emberline.bench.channels import Role
from emberline.bench.co_limits import CO_LIMITS
from emberline.bench.plan import parse_plan
from emberline.bench.plan_quantities import QUANTITIES
from emberline.cli import main
from emberline.cli.telling import CODES
from emberline.curves.events import EventKind, Phase
from emberline.heat.results import RESULT_NAMES
from emberline.service.delivery.delivery_file import load_delivery
from emberline.store.export import column_name
from emberline.trials.alarms import AlarmKind

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
DECISIONS = sorted(path.name for path in (ROOT / "host" / "decisions").glob("*.md"))


def in_code(text: str) -> set[str]:
    """Return what stands between single backticks."""
    return set(re.findall(r"`([^`\n]+)`", text))


def blocks(text: str, language: str) -> list[str]:
    """Return the fenced blocks of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def test_the_readme_names_every_command() -> None:
    named = {words.split()[1] for words in in_code(README) if words.startswith("emberline ")}
    assert sorted(main.commands.keys() - named) == []
    assert sorted(named - main.commands.keys()) == []


def test_commands_shown_take_the_options_shown() -> None:
    shown = [line for block in blocks(README, "sh") for line in block.splitlines() if line.startswith("emberline ")]
    assert len(shown) >= 3
    for line in shown:
        words = shlex.split(line, comments=True)[1:]
        if not words or words[0].startswith("-"):
            continue
        options = {option for parameter in main.commands[words[0]].params for option in parameter.opts}
        assert {word for word in words if word.startswith("--")} <= options, line


def test_the_example_plan_is_a_plan() -> None:
    example, *_ = blocks(README, "toml")
    assert parse_plan(example).label == "chips, 12 holes, run 3"


def test_the_example_of_a_broker_belongs_into_a_bench_file() -> None:
    _, _, example = blocks(README, "toml")
    broker = parse_bench('[[channel]]\nrole = "mass"\n' + example).broker
    assert broker is not None
    assert broker.host == "broker.local"


def test_the_example_about_alarms_is_one_that_is_read(tmp_path: Path) -> None:
    (tmp_path / "services").write_text("json://127.0.0.1\n")
    (tmp_path / "services").chmod(0o600)
    (tmp_path / "alarms.toml").write_text(blocks(README, "toml")[1])
    delivery = load_delivery(tmp_path / "alarms.toml", {})
    assert delivery.command == ("/usr/local/bin/ring-the-bell",)
    assert delivery.services is not None


def test_every_alarm_and_every_limit_of_carbon_monoxide_is_named() -> None:
    assert {kind.value for kind in AlarmKind} <= in_code(DEVELOPERS)
    assert {f"EMBERLINE_ALARM_{word}" for word in ("HAPPENING", "BENCH", "KIND", "TITLE")} <= in_code(DEVELOPERS)
    assert set(CO_LIMITS) <= in_code(DEVELOPERS)


@pytest.mark.parametrize("key", QUANTITIES)
def test_every_number_of_a_plan_is_explained(key: str) -> None:
    assert key in in_code(DEVELOPERS)


BENCH = """
id = "shed"
name = "Shed"
[[channel]]
role = "water"
name = "pot"
source = "tc0"
u_bias = 1.0
u_scale = 0.004
u_drift_per_hour = 0.1
resolution = 0.25
time_constant_s = 1.5
u_time_constant_s = 0.5
[channel.thermocouple]
kind = "K"
class = 1
converter_error_c = 2.0
degrees_per_code = 0.25
flat_uv_k = 41.276
correction_c = 1.0
u_correction_c = 0.3
[[channel]]
role = "mass"
[[channel.point]]
load = 0.0
counts = 100
[[channel.point]]
load = 1000.0
counts = 420100
[[channel]]
role = "pot_mass"
[channel.line]
zero_counts = 0.0
counts_per_unit = 419.0
[serial]
port = "/dev/serial/by-id/x"
vendor_id = 1
product_id = 2
serial_number = "3"
device = "d"
baud = 115200
[mqtt]
host = "localhost"
port = 8883
tls = true
ca_file = "a"
certificate_file = "b"
key_file = "c"
user = "d"
password_file = "e"
device = "f"
[trial]
end_after_flameout_min = 30.0
[alarms]
flame_longest_min = 90
cell_hottest_c = 55
co_limits = ["who-15min"]
"""


def keys(table: object) -> set[str]:
    """Return the keys of a TOML document, at any depth."""
    match table:
        case dict():
            return set(table) | {key for value in table.values() for key in keys(value)}
        case list():
            return {key for value in table for key in keys(value)}
        case _:
            return set()


def test_every_key_of_a_bench_file_is_explained() -> None:
    parse_bench(BENCH)
    tables = {"channel", "thermocouple", "line", "point", "serial", "mqtt", "trial", "alarms"}
    assert sorted(keys(tomllib.loads(BENCH)) - tables - in_code(DEVELOPERS)) == []


def test_every_word_that_other_programs_meet_is_explained() -> None:
    words = [*RESULT_NAMES, *Role, *EventKind, *Phase, *(column_name(role) for role in Role)]
    assert [word for word in words if str(word) not in in_code(DEVELOPERS)] == []


def test_every_exit_code_is_explained() -> None:
    text = re.sub(r"\s+", " ", DEVELOPERS)
    assert "; ".join(f"{code} {meaning}" for code, meaning in CODES.items()) in text


def test_the_example_summary_keeps_to_the_schema() -> None:
    (example,) = blocks(DEVELOPERS, "json")
    schema = json.loads(files("emberline.trials").joinpath("summary.schema.json").read_text())
    jsonschema.validate(json.loads(example), schema)


@pytest.mark.parametrize("name", DECISIONS)
def test_every_decision_is_listed_by_its_title(name: str) -> None:
    heading = (ROOT / "host" / "decisions" / name).read_text().splitlines()[0]
    number, _, title = heading.removeprefix("# ").partition(". ")
    assert name.startswith(f"{int(number):04d}-")
    assert f"| [{number}](host/decisions/{name}) | {title} |" in DEVELOPERS


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_links_lead_somewhere(name: str) -> None:
    text = (ROOT / name).read_text()
    targets = re.findall(r"\]\(([^)#]+)", text)
    assert [target for target in targets if "://" not in target and not (ROOT / target).exists()] == []
    paths = {words for words in in_code(text) if re.fullmatch(r"(host|tests|deploy|simulators)/[\w./-]+", words)}
    assert [path for path in sorted(paths) if not (ROOT / path).exists()] == []
