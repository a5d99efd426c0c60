"""`emberline arm --guided`: one question at a time, with the scale's reading live; Enter takes it."""

import contextlib
import os
import select
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.live import Live

from emberline.cli.guided_panel import Screen, closing_lines, panel, plain_lines
from emberline.cli.streams import can_draw
from emberline.reports.caution import CAUTION_LINE
from emberline.service.control_client import ask

LOOK_S = 0.2
"""Pause between two looks at the scale, real seconds."""
STEADY_LIMIT_S = 120.0
"""Longest wait for something steady to take, real seconds."""


def guide(folder: Path, bench: str | None, series: str | None = None) -> None:
    """Guide a burn until it is done or left; what was answered is kept by the daemon, and a later call goes on there.

    Args:
        folder: The daemon's data folder.
        bench: Id of the bench; None where there is one.
        series: The planned series whose next run the burn is.

    Raises:
        ServiceError: No daemon runs there, or it refuses.
    """

    def asked(request: Mapping[str, Any]) -> Screen:
        answer = ask(folder, {"do": "guide", "bench": bench, **request})
        screen: Screen = answer["guide"]
        return screen

    click.echo(CAUTION_LINE)
    terminal = _Live(asked) if sys.stdin.isatty() and can_draw(Console()) else _Lines(asked)
    screen = asked({})
    while True:
        if screen["step"] == "begin":
            request: dict[str, Any] | None = _begin(screen)
        elif screen["step"] == "finish":
            _close(screen, asked)
            return
        else:
            request = terminal.answer(screen)
        if request is None:
            click.echo("What was answered is kept: the same command goes on from here.")
            return
        before, screen = screen, asked({**request, "at": screen["step"], "series": series})
        _tell(before, screen)


def answer_of(screen: Screen, line: str, typed: Mapping[str, str]) -> dict[str, Any] | None:
    """Return the request that a line means; None for leaving. A blank line may mean to wait for the scale: `take`.

    Args:
        screen: The screen that is answered.
        line: What was typed.
        typed: What was typed before at this step, by key.
    """
    word = line.strip()
    short = {"s": "skip", "b": "back", "t": "tare"}
    if word == "q":
        return None
    if word in short:
        return {"act": short[word]}
    if word == "a":
        return {"act": "take", "offer": 1, "values": dict(typed)}
    if word:
        return {"act": "type", "values": {**typed, _asked_key(screen, typed): word}}
    fixed = {"ready": "open", "burn": "next", "snuff": "mark", "place": "type"}
    if screen["step"] in fixed:
        return {"act": fixed[screen["step"]], "values": dict(typed)}
    if screen["wait"] or (screen["listed"] is not None and not screen["takes"]):
        return {"act": "skip"}
    return {"act": "take", "values": dict(typed)}


def _asked_key(screen: Screen, typed: Mapping[str, str]) -> str:
    """Return the key of the field that is asked for: the first not typed yet; of a pot, what a balance shows."""
    keys = [field["key"] for field in screen["fields"] if field["key"] not in typed]
    if screen["step"] == "pot_after" and keys:
        return str(keys[-1])
    return str(keys[0]) if keys else ""


class _Terminal:
    """Gets an answer to a screen."""

    def __init__(self, asked: Callable[[Mapping[str, Any]], Screen]) -> None:
        self._asked = asked

    def answer(self, screen: Screen) -> dict[str, Any] | None:
        """Return a request, or None for leaving; waits for the scale where there is something to take."""
        typed: dict[str, str] = {}
        with self._showing(screen):
            while True:
                field = next((one for one in screen["fields"] if one["key"] == _asked_key(screen, typed)), None)
                line = self._line(screen, _prompt(screen, field))
                if line is None or line.strip() == "q":
                    return None
                several = screen["step"] in ("place", "known", "known_after")
                if several and field is not None and line.strip() not in ("s", "b", "t", "a"):
                    typed[field["key"]] = line.strip() or field["value"]
                    if screen["step"] == "place" and _asked_key(screen, typed):
                        continue
                    line = ""
                request = answer_of(screen, line, typed)
                if request is None or request["act"] != "take":
                    return request
                if self._steady(screen, int(request.get("offer", 0))):
                    return request
                self._note("Nothing steady to take: put it on, type a number, or s to skip.")

    def _steady(self, screen: Screen, offer: int) -> bool:
        stop_s = time.monotonic() + STEADY_LIMIT_S
        while time.monotonic() < stop_s:
            now = self._asked({})
            if now["step"] != screen["step"] or (now["takes"] and (not now["offers"] or offer < len(now["offers"]))):
                return True
            if self._interrupted(now):
                return False
            time.sleep(LOOK_S)
        return False

    @contextmanager
    def _showing(self, screen: Screen) -> Iterator[None]:
        yield

    def _line(self, screen: Screen, prompt: str) -> str | None:
        raise NotImplementedError

    def _note(self, words: str) -> None:
        click.echo(words)

    def _interrupted(self, now: Screen) -> bool:
        return False


class _Lines(_Terminal):
    """Where there is no terminal: plain lines out, lines in."""

    def _line(self, screen: Screen, prompt: str) -> str | None:
        for words in plain_lines(screen):
            click.echo(words)
        click.echo(f"    {prompt}> ", nl=False)
        sys.stdout.flush()
        line = sys.stdin.readline()
        click.echo(line.strip())
        return line.rstrip("\n") if line else None


class _Live(_Terminal):
    """A terminal: the screen is drawn over and over while keys are read."""

    def __init__(self, asked: Callable[[Mapping[str, Any]], Screen]) -> None:
        super().__init__(asked)
        self._console = Console(highlight=False, emoji=False)
        self._live: Live | None = None
        self._words = ""
        self._pressed = ""

    @contextmanager
    def _showing(self, screen: Screen) -> Iterator[None]:
        self._words = ""
        with _keys_at_once(), Live(console=self._console, auto_refresh=False, transient=True) as live:
            self._live = live
            yield

    def _line(self, screen: Screen, prompt: str) -> str | None:
        typed = ""
        now = screen
        while True:
            self._draw(now, typed, self._words or prompt)
            key = self._key(LOOK_S)
            if key is None:
                now = self._asked({})
                if now["step"] != screen["step"]:
                    return ""  # the guide went on by itself: the answer will find it elsewhere, and do nothing
            elif key in ("\r", "\n"):
                return typed
            elif key in ("\x04", ""):
                return None
            elif key in ("\x7f", "\b"):
                typed = typed[:-1]
            elif key.isprintable():
                self._words = ""
                typed += key

    def _note(self, words: str) -> None:
        self._words = words

    def _interrupted(self, now: Screen) -> bool:
        self._draw(now, "", "taken as soon as it is steady; any key stops that")
        return self._key(0.0) is not None

    def _key(self, limit_s: float) -> str | None:
        """Return a key that is pressed within a time; None for none, empty at the end of the input."""
        descriptor = sys.stdin.fileno()
        if not self._pressed:
            if not select.select([descriptor], [], [], limit_s)[0]:
                return None
            self._pressed = os.read(descriptor, 1024).decode(errors="ignore")
        key, self._pressed = self._pressed[:1], self._pressed[1:]
        return key

    def _draw(self, screen: Screen, typed: str, note: str) -> None:
        if self._live is not None:
            self._live.update(panel(screen, typed, note), refresh=True)


@contextmanager
def _keys_at_once() -> Iterator[None]:
    """Have the terminal hand over each key as it is pressed, unseen."""
    if sys.platform == "win32":
        yield
        return
    import termios
    import tty

    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    tty.setcbreak(descriptor)
    try:
        yield
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def _prompt(screen: Screen, field: Mapping[str, Any] | None) -> str:
    if field is None:
        return ""
    known = f" [{field['value']}]" if field["value"] else ""
    return f"{field['label']}, {field['unit']}{known}".rstrip(", ")


def _begin(screen: Screen) -> dict[str, Any] | None:
    """Ask what is burnt; an empty answer takes what stands in brackets."""
    begin = screen["begin"]
    if not begin["heard"]:
        click.echo("No device has greeted yet: readings are missing, everything can be typed.")
    for words in screen["warnings"]:
        click.echo(words)
    request: dict[str, Any] = {"act": "begin", "values": {}}
    last = begin["last"]
    try:
        if last is not None:
            named = f", {last['label']}" if last["label"] else ""
            request["as_last"] = click.confirm(f"The same as last time{named}, one thing changed?", default=True)
        again = bool(request.get("as_last"))
        for kind, title in (("lot", "Fuel lot"), ("stove", "Stove"), ("pot", "Pot")):
            request[kind] = _choice(title, begin["entries"][kind], again)
        with_pot = begin["last_pot"] if again else True
        request["with_pot"] = bool(request["pot"]) or click.confirm("With a pot?", default=with_pot)
        request["kindling"] = click.confirm("Kindling, weighed apart?", default=again and begin["last_kindling"])
        request["factors"] = _factors(last["factors"] if again and last else {})
        request["label"] = click.prompt("Name of the trial", default="", show_default=False)
    except click.Abort:
        return None
    return request


def _choice(title: str, names: list[str], again: bool) -> str:
    if not names:
        return ""
    for number, name in enumerate(names, 1):
        click.echo(f"  {number}  {name}")
    words = "as last time" if again else "none of them"
    chosen = click.prompt(
        f"{title} (Enter: {words})", type=click.IntRange(0, len(names)), default=0, show_default=False
    )
    return names[chosen - 1] if chosen else ""


def _factors(before: Mapping[str, str]) -> dict[str, str]:
    """Ask which conditions differ, as `name = value`, until a blank line."""
    for name, word in before.items():
        click.echo(f"  {name} = {word}")
    found: dict[str, str] = {}
    while True:
        line = click.prompt("What you vary, as name = value (Enter: no more)", default="", show_default=False)
        name, equals, word = line.partition("=")
        if not line.strip():
            return found
        if equals and name.strip() and word.strip():
            found[name.strip()] = word.strip()
        else:
            click.echo("Write it like: holes = 12")


def _tell(before: Screen, after: Screen) -> None:
    """Say what became of an answer, in a line that stays."""
    for words in after["problems"].values():
        click.echo(f"  Not taken: {words}")
    done = next((one for one in after["done"] if one["step"] == before["step"]), None)
    if done is not None and done["how"] and after["step"] != before["step"]:
        words = "skipped" if done["how"] == "skipped" else done["words"]
        click.echo(f"  {done['title']}: {words}")
    if after["step"] == "ready":
        for words in after["ready"]["refused"]:
            click.echo(f"  The plan cannot be used: {words}")


def _close(screen: Screen, asked: Callable[[Mapping[str, Any]], Screen]) -> None:
    """End the trial if the person says so, and say what it came to."""
    with contextlib.suppress(click.Abort):
        if not screen["finish"]["summary"] and click.confirm("End the trial now?", default=True):
            screen = asked({"act": "end", "at": "finish"})
    for line in closing_lines(screen["finish"]):
        click.echo(line)
    if screen["trial"]:
        click.echo(f"Its summary: emberline summary {screen['trial']}")
