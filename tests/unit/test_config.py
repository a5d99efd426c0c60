import subprocess
from pathlib import Path

import pytest

from emberline.bench.bench_file import Broker
from emberline.bench.bench_template import bench_template, template_bench
from emberline.config import (
    DATA_VARIABLE,
    DEFAULT_DATA,
    PASSWORD_VARIABLE,
    USER_VARIABLE,
    ConfigError,
    broker_access,
    broker_named,
    check_certificate,
    data_directory,
    load_bench,
    load_plan,
)


def test_a_plan_is_loaded(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text('label = "Hülsen, höher"\n', encoding="utf-8")
    assert load_plan(path).label == "Hülsen, höher"


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(b'\xef\xbb\xbflabel = "x"\r\n')
    assert load_plan(path).label == "x"


def test_a_bench_is_loaded(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(bench_template(), encoding="utf-8")
    assert load_bench(path) == template_bench()


def test_problems_carry_file_and_line(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text("[fuel]\nmoisture_wet = 11\n[place]\npressure_pa = 1013\n", encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        load_plan(path)
    lines = str(caught.value).splitlines()
    assert lines[0].startswith(f"{path}: line 2: moisture_wet = 11")
    assert lines[1].startswith(f"{path}: line 4: pressure_pa = 1013")
    assert caught.value.path == path
    assert len(caught.value.problems) == 2


def test_what_cannot_be_read_is_named(tmp_path: Path) -> None:
    latin, large = tmp_path / "latin.toml", tmp_path / "large.toml"
    latin.write_bytes(b'format = 1\nlabel = "H\xfclsen"\n')
    large.write_bytes(b"#" * 1_000_001)
    expected = {
        tmp_path / "none.toml": "there is no such plan",
        tmp_path: "is a folder",
        latin: "line 2 is not UTF-8",
        large: "is over 1 MB",
        latin / "plan.toml": "cannot be read",
    }
    for path, message in expected.items():
        with pytest.raises(ConfigError, match=message) as caught:
            load_plan(path)
        assert caught.value.problems == ()


def test_option_comes_before_variable_before_default(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    named = {DATA_VARIABLE: str(tmp_path / "named")}
    assert data_directory(tmp_path / "option", named) == tmp_path / "option"
    assert data_directory(None, named) == tmp_path / "named"
    assert data_directory(None, {DATA_VARIABLE: "  "}) == DEFAULT_DATA
    assert data_directory(None, {}) == DEFAULT_DATA


def test_a_home_folder_may_be_named_by_its_mark(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    assert data_directory(None, {DATA_VARIABLE: "~/burns"}) == tmp_path / "burns"


def test_a_file_is_no_data_directory(tmp_path: Path) -> None:
    path = tmp_path / "burns"
    path.write_text("", encoding="utf-8")
    with pytest.raises(ConfigError, match="is a file"):
        data_directory(path, {})


def test_a_broker_is_reached_at_the_registered_port_unless_another_is_named(tmp_path: Path) -> None:
    """Registered by IANA: 1883 for MQTT, 8883 for MQTT over TLS."""
    assert broker_access(Broker("b"), tmp_path, {}).port == 1883
    assert broker_access(Broker("b", tls=True), tmp_path, {}).port == 8883
    assert broker_access(Broker("b", port=1), tmp_path, {}).port == 1


def test_an_account_comes_from_a_file_or_the_environment_and_is_never_shown(tmp_path: Path) -> None:
    (tmp_path / "word").write_text("s3cret \r\n")
    access = broker_access(Broker("b", user="ember", password_file="word"), tmp_path, {})  # noqa: S106 a file's name
    assert (access.user(), access.password()) == ("ember", "s3cret ")
    access = broker_access(Broker("b"), tmp_path, {USER_VARIABLE: "ember", PASSWORD_VARIABLE: "s3cret"})
    assert (access.user(), access.password()) == ("ember", "s3cret")
    assert "s3cret" not in repr(access)
    assert broker_access(Broker("b"), tmp_path, {}).password() is None


def test_a_password_is_read_anew_each_time(tmp_path: Path) -> None:
    (tmp_path / "word").write_text("old")
    access = broker_access(Broker("b", user="ember", password_file="word"), tmp_path, {})  # noqa: S106 a file's name
    (tmp_path / "word").write_text("new")
    assert access.password() == "new"


@pytest.mark.parametrize(
    ("broker", "words"),
    [
        (Broker("b", user="u", password_file="none"), "no such password file"),  # noqa: S106 a file's name
        (Broker("b", tls=True, ca_file="none"), "no such file"),
        (Broker("b", tls=True, ca_file="junk"), "cannot be used as the certificate of an authority"),
        (Broker("b", tls=True, certificate_file="junk", key_file="junk"), "cannot be used as the certificate"),
        (Broker("b", password_file="junk"), "needs a user"),  # noqa: S106 a file's name
    ],
)
def test_what_cannot_be_used_is_told_before_the_program_starts(tmp_path: Path, broker: Broker, words: str) -> None:
    (tmp_path / "junk").write_text("junk")
    with pytest.raises(ConfigError, match=words):
        broker_access(broker, tmp_path, {})


def test_a_broker_named_by_a_person_keeps_the_rest_of_the_bench_file() -> None:
    assert broker_named("b", None) == Broker("b")
    assert broker_named("b:99", Broker("a", port=1, user="ember")) == Broker("b", port=99, user="ember")
    assert broker_named("::1", None) == Broker("::1")


@pytest.mark.parametrize("text", ["", ":1883", "b:", "b:x", "b:99999", "mqtt://b"])
def test_what_names_no_broker_is_refused(text: str) -> None:
    with pytest.raises(ConfigError, match="HOST:PORT"):
        broker_named(text, None)


def test_a_certificate_with_its_key_is_found_good_before_it_is_used(certificate: tuple[Path, Path]) -> None:
    made, key = certificate
    check_certificate(made, key)
    both = made.with_name("both.pem")
    both.write_bytes(key.read_bytes() + made.read_bytes())
    check_certificate(both, None)
    for file, other, why in (
        (made, None, "cannot be used"),
        (key, made, "goes with"),
        (made.with_name("x"), key, "no such"),
    ):
        with pytest.raises(ConfigError, match=why):
            check_certificate(file, other)


def test_a_key_under_a_password_is_refused_and_not_asked_for(certificate: tuple[Path, Path]) -> None:
    made, key = certificate
    locked = key.with_name("locked.key")
    words = ["openssl", "ec", "-in", str(key), "-aes256", "-passout", "pass:a-word", "-out", str(locked)]
    subprocess.run(words, check=True, capture_output=True, timeout=30)
    with pytest.raises(ConfigError, match="cannot be used"):
        check_certificate(made, locked)
