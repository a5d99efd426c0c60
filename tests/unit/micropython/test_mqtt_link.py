"""The ESP32's link to the broker on MicroPython: what it asks of the client and of the Wi-Fi, and when it gives up."""

from typing import Any

from micropython_fixture import SCRIPTS, MicroPython

OPENED = [
    ["wifi", True],
    ["join", "net", "secret"],
    ["connect", True, 10],
    ["wait", 10],
    ["subscribe", "emberline/v1/shed/down", 1],
]


def do(micropython: MicroPython, *steps: list[Any]) -> list[Any]:
    """Return what was done to the client and the Wi-Fi, without how the client was made."""
    client = {"/board/umqtt/simple.py": (SCRIPTS / "umqtt_simple.py").read_text()}
    made, will, *lines = micropython.run("link.py", data=steps, files=client)
    assert made == ["client", "esp-1", "broker.local", 1883, None, None, 30]
    assert will == ["will", "emberline/v1/shed/online", "0", True, 1]
    return lines


def test_it_joins_connects_with_a_clean_start_and_listens(micropython: MicroPython) -> None:
    assert do(micropython, ["open"]) == OPENED


def test_it_publishes_under_its_bench_and_asks_for_confirmation(micropython: MicroPython) -> None:
    lines = do(micropython, ["open"], ["publish", "hello", "x", True], ["publish", "up", "y", False])
    assert lines[len(OPENED) :] == [
        ["publish", "emberline/v1/shed/hello", "x", True, 1],
        ["publish", "emberline/v1/shed/up", "y", False, 1],
    ]


def test_what_comes_is_handed_on_once_without_waiting_and_never_more_than_it_has_room_for(
    micropython: MicroPython,
) -> None:
    steps = [["open"], ["comes", "a", "b"], ["received"], ["received"], ["comes", *"0123456789abcdefgh"], ["received"]]
    lines = do(micropython, *steps)[len(OPENED) :]
    looked = [["wait", 0], ["wait", 10]]
    full = ["received", list("0123456789abcdef")]
    assert lines == [*looked, ["received", ["a", "b"]], *looked, ["received", []], *looked, full]


def test_whatever_goes_wrong_is_an_oserror_so_that_the_loop_begins_anew(micropython: MicroPython) -> None:
    calls: dict[str, list[Any]] = {
        "connect": ["open"],
        "publish": ["publish", "up", "x", False],
        "check_msg": ["received"],
    }
    errors = ("MQTTException", "OSError", "IndexError")
    steps: list[list[Any]] = [["open"]]
    for call, step in calls.items():
        for error in errors:
            steps += [["fails", call, error, "made up"], step, ["close"], ["open"]]
    lines = do(micropython, *steps)
    broken = [at for at, line in enumerate(lines) if line == ["OSError", "made up"]]
    assert len(broken) == len(calls) * len(errors)
    assert all(lines[at + 1 : at + 5] == [["close"], *OPENED[2:]] for at in broken)


def test_a_network_that_does_not_answer_is_left_after_ten_seconds(micropython: MicroPython) -> None:
    lines = do(micropython, ["wifi", False], ["open"], ["close"], ["wifi", True], ["open"])
    assert lines[:2] == OPENED[:2]
    (_, left_ms), (_, words) = lines[2:4]
    assert lines[2][0] == "leave"
    assert 10_000 < left_ms <= 10_100
    assert "Wi-Fi" in words
    assert lines[4:] == OPENED
