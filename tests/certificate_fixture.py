"""A certificate for 127.0.0.1 that vouches for itself, made by OpenSSL."""

import shutil
import subprocess
from pathlib import Path

import pytest


@pytest.fixture
def certificate(tmp_path: Path) -> tuple[Path, Path]:
    """Return the files of a certificate and of its key."""
    program = shutil.which("openssl")
    if program is None:
        pytest.skip("no openssl on this machine")
    made, key = tmp_path / "pages.crt", tmp_path / "pages.key"
    words = [program, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    words += ["-keyout", str(key), "-out", str(made), "-days", "2", "-subj", "/CN=127.0.0.1"]
    words += ["-addext", "subjectAltName=IP:127.0.0.1"]
    subprocess.run(words, check=True, capture_output=True, timeout=30)
    return made, key
