"""Files and folders that a person names: the plan, the bench file, the data directory."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypeVar

from emberline.bench.bench_file import Bench, parse_bench
from emberline.bench.errors import Problem, TextError
from emberline.bench.plan import Plan, parse_plan

Parsed = TypeVar("Parsed")

DATA_VARIABLE = "EMBERLINE_DATA"
"""Environment variable that names the data directory."""

DEFAULT_DATA = Path("emberline-data")
"""Data directory where neither option nor variable names one, in the current directory."""

_LARGEST_BYTES = 1_000_000
"""No plan or bench file is larger; a burn's CSV given by mistake is."""


class ConfigError(Exception):
    """A file or folder cannot be used.

    Attributes:
        path: Which one.
        problems: What is wrong with its text; empty where the text was never reached.
    """

    def __init__(self, path: Path, message: str, problems: tuple[Problem, ...] = ()) -> None:
        super().__init__(message)
        self.path = path
        self.problems = problems


def load_plan(path: Path) -> Plan:
    """Read a plan file.

    Raises:
        ConfigError: for a file that cannot be read, or a text with problems, all of them listed.
    """
    return _load(path, parse_plan, "plan")


def load_bench(path: Path) -> Bench:
    """Read a bench file.

    Raises:
        ConfigError: for a file that cannot be read, or a text with problems, all of them listed.
    """
    return _load(path, parse_bench, "bench file")


def read_text(path: Path, what: str) -> str:
    """Read a small text file in UTF-8, with or without a byte order mark.

    Args:
        path: The file.
        what: What it should be, for messages.

    Raises:
        ConfigError: for a file that is missing, unreadable, too large or not UTF-8.
    """
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except FileNotFoundError as error:
        raise ConfigError(path, f"{path}: there is no such {what}: check the name and the folder") from error
    except IsADirectoryError as error:
        raise ConfigError(path, f"{path}: is a folder: name the {what} inside it") from error
    except OSError as error:
        raise ConfigError(path, f"{path}: cannot be read: {error.strerror or error}") from error
    if len(data) > _LARGEST_BYTES:
        raise ConfigError(path, f"{path}: is over 1 MB, too large for a {what}: is it the recorded data?")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ConfigError(path, f"{path}: line {line} is not UTF-8: save the {what} as UTF-8 text") from error


def data_directory(option: Path | None, environment: Mapping[str, str]) -> Path:
    """Return the data directory: the option, else the variable `EMBERLINE_DATA`, else `emberline-data` here.

    It need not exist.

    Raises:
        ConfigError: where the name belongs to something that is no directory.
    """
    named = environment.get(DATA_VARIABLE, "").strip()
    path = option if option is not None else Path(named).expanduser() if named else DEFAULT_DATA
    if path.exists() and not path.is_dir():
        raise ConfigError(path, f"{path}: is a file: name a folder with --data or {DATA_VARIABLE}")
    return path


def _load(path: Path, parse: Callable[[str], Parsed], what: str) -> Parsed:
    text = read_text(path, what)
    try:
        return parse(text)
    except TextError as error:
        lines = "\n".join(f"{path}: {problem}" for problem in error.problems)
        raise ConfigError(path, lines, error.problems) from error
