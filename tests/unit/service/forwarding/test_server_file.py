"""The file that names a server."""

from pathlib import Path

import pytest

from emberline.config import ConfigError
from emberline.service.forwarding.server_file import TOKEN_VARIABLE, load_server


def written(folder: Path, text: str) -> Path:
    path = folder / "server.toml"
    path.write_text(text)
    return path


def test_an_address_is_enough(tmp_path: Path) -> None:
    server = load_server(written(tmp_path, 'url = "http://127.0.0.1:8428/"\n'), {TOKEN_VARIABLE: "s3cret"})
    assert (server.url, server.bucket, server.organisation, server.every_s) == (
        "http://127.0.0.1:8428",
        "emberline",
        "",
        1.0,
    )
    assert server.token() == "s3cret"
    assert "s3cret" not in repr(server)


def test_the_token_is_read_beside_the_file(tmp_path: Path) -> None:
    (tmp_path / "token").write_text("s3cret\n")
    server = load_server(
        written(tmp_path, 'url = "https://h:1"\ntoken_file = "token"\nevery_s = 0\nbucket = "b"\n'), {}
    )
    assert (server.token(), server.every_s, server.name) == ("s3cret", 0.0, "https://h:1  b")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ('bucket = "b"\n', "url is missing"),
        ('url = "127.0.0.1:8428"\n', "write it like http://127.0.0.1:8428"),
        ('url = "http://me:pw@h:1"\n', "token_file"),
        ('url = "http://h:1/api/v2/write"\n', "ends with the port"),
        ('url = "http://h:1"\nevery = 1\n', "every_s"),
        ('url = "http://h:1"\nevery_s = -1\n', "outside 0 to 3600"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, text: str, why: str) -> None:
    with pytest.raises(ConfigError, match=why):
        load_server(written(tmp_path, text), {})
