"""The documents cannot lag behind the program: what exists is in them, and their examples fit it."""

import json
import re
import shlex
import subprocess
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from emberline.bench.bench_file import parse_bench
from emberline.bench.channels import Role
from emberline.bench.co_limits import CO_LIMITS
from emberline.bench.plan import parse_plan
from emberline.cli.telling import CODES
from emberline.curves.events import EventKind, Phase
from emberline.heat.results import RESULT_NAMES
from emberline.service.delivery.delivery_file import load_delivery
from emberline.store.export import column_name
from emberline.trials.alarms import AlarmKind
from snippet_fixture import emberline_calls, snippets, strange_words

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "host" / "docs"
PAGES = sorted(
    page
    for pattern in ("*.md", "host/docs/**/*.md", "deploy/**/*.md", "firmware_protocol/**/*.md")
    for page in ROOT.glob(pattern)
    if snippets(page)
)
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
DECISIONS = sorted(path.name for path in (ROOT / "host" / "decisions").glob("*.md"))


def in_code(text: str) -> set[str]:
    """Return what stands between single backticks."""
    return set(re.findall(r"`([^`\n]+)`", text))


def blocks(text: str, language: str) -> list[str]:
    """Return the fenced blocks of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_commands_shown_are_there_and_take_the_options_shown(page: Path) -> None:
    for snippet in snippets(page):
        subprocess.run(["bash", "-n"], input=snippet.text, text=True, check=True, timeout=20)
        for words in emberline_calls(snippet):
            assert strange_words(words) == [], f"{snippet}: emberline {shlex.join(words)}"


def test_a_command_or_an_option_that_is_not_there_is_found(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(
        "```sh\nemberline rum\nx; emberline calibrate mass --heavy\nsudo -u emberline emberline trials\n```\n"
    )
    (snippet,) = snippets(page)
    assert [strange_words(words) for words in emberline_calls(snippet)] == [["rum"], ["--heavy"], []]


def test_what_is_not_run_has_its_reason(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("<!-- not run: needs a stove -->\n```sh\nlight\n```\n<!-- stays until: lit -->\n```sh\nwait\n```\n")
    first, second = snippets(page)
    assert (first.left_out, first.stays, first.line) == ("needs a stove", False, 3)
    assert (second.left_out, second.stays, second.until) == ("", True, "lit")


def test_the_example_plan_is_a_plan() -> None:
    (example,) = snippets(DOCS / "how-to" / "plan.md", "toml")
    assert parse_plan(example.text).label == "chips, 12 holes, run 3"


def test_the_example_of_a_broker_belongs_into_a_bench_file() -> None:
    (example,) = snippets(DOCS / "how-to" / "mqtt.md", "toml")
    broker = parse_bench('[[channel]]\nrole = "mass"\n' + example.text).broker
    assert broker is not None
    assert broker.host == "broker.local"


def test_the_example_about_alarms_is_one_that_is_read(tmp_path: Path) -> None:
    (tmp_path / "services").write_text("json://127.0.0.1\n")
    (tmp_path / "services").chmod(0o600)
    (example,) = snippets(DOCS / "how-to" / "alarms.md", "toml")
    (tmp_path / "alarms.toml").write_text(example.text)
    delivery = load_delivery(tmp_path / "alarms.toml", {})
    assert delivery.command == ("/usr/local/bin/ring-the-bell",)
    assert delivery.services is not None


def test_every_alarm_and_every_limit_of_carbon_monoxide_is_named() -> None:
    assert {kind.value for kind in AlarmKind} <= in_code(DEVELOPERS)
    assert {f"EMBERLINE_ALARM_{word}" for word in ("HAPPENING", "BENCH", "KIND", "TITLE")} <= in_code(DEVELOPERS)
    assert set(CO_LIMITS) <= in_code(DEVELOPERS)


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
