"""One screen of a guided burn in a terminal: the question, the live reading in large figures, what the keys do."""

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.rule import Rule
from rich.text import Text
from uncertainties import ufloat
from uncertainties.core import to_affine_scalar

from emberline.reports.figures import PLUS_MINUS_MEANS, half_width, parts

Screen = Mapping[str, Any]

_FONT = {
    "0": ("█▀█", "█ █", "▀▀▀"),
    "1": ("▄█ ", " █ ", "▀▀▀"),
    "2": ("▀▀█", "█▀▀", "▀▀▀"),
    "3": ("▀▀█", " ▀█", "▀▀▀"),
    "4": ("█ █", "▀▀█", "  ▀"),
    "5": ("█▀▀", "▀▀█", "▀▀▀"),
    "6": ("█▀▀", "█▀█", "▀▀▀"),
    "7": ("▀▀█", "  █", "  ▀"),
    "8": ("█▀█", "█▀█", "▀▀▀"),
    "9": ("█▀█", "▀▀█", "▀▀▀"),
    ".": (" ", " ", "▀"),
    "−": ("  ", "▀▀", "  "),
}
"""Figures three lines high, to be read from the other side of the bench."""


def panel(screen: Screen, typed: str, note: str) -> RenderableType:
    """Return a screen.

    Args:
        screen: The guide's screen.
        typed: What has been typed so far.
        note: What is under way, or what was wrong.
    """
    rows: list[RenderableType] = [head(screen), Text(screen["ask"], style="bold"), *_small(screen["why"])]
    reading = screen["reading"]
    if reading is not None:
        rows.append(Padding(_large(reading), (1, 0, 0, 2)))
    rows += [Text(f"  {words}", style="yellow") for words in (screen["wait"], *screen["warnings"]) if words]
    rows += [Text(f"  {line}") for line in offer_lines(screen)]
    if screen["caution"]:
        rows.append(Text(f"  {screen['caution']}", style="bold yellow"))
    rows.append(Text(""))
    rows.append(Text(keys(screen), style="dim"))
    prompt = Text("> ", style="bold").append(typed).append("▏")
    rows.append(prompt.append(f"  {note}", style="yellow") if note else prompt)
    return Group(*rows)


def head(screen: Screen) -> RenderableType:
    """Return the line above a question."""
    return Rule(f"[bold]{screen['number']} of {screen['of']} · {screen['title']}[/bold]", align="left", style="dim")


def plain_lines(screen: Screen) -> list[str]:
    """Return a screen as lines, for where there is no terminal."""
    lines = ["", f"[{screen['number']} of {screen['of']}] {screen['title']}: {screen['ask']}"]
    lines += [f"    {words}" for words in (screen["why"], screen["wait"], *screen["warnings"]) if words]
    if screen["caution"]:
        lines.append(f"    Caution: {screen['caution']}")
    return [*lines, f"    {keys(screen)}"]


def offer_lines(screen: Screen) -> list[str]:
    """Return what can be taken, a line each."""
    lines = []
    for key, offer in zip(("Enter", "a"), screen["offers"], strict=False):
        what = "on the cleared scale" if offer["how"] == "alone" else "added"
        lines.append(f"{key}: {figure(offer)} {what} ({offer['words']})")
    if screen["listed"] is not None:
        lines.append(f"{'s' if screen['takes'] else 'Enter'}: keep {figure(screen['listed'])} as listed")
    return lines


def keys(screen: Screen) -> str:
    """Return what the keys do, in one line."""
    step = screen["step"]
    enter = {"ready": "open the trial", "burn": "go on", "snuff": "smothered now", "finish": "leave"}
    default = "go on, and weigh it later" if screen["wait"] else enter.get(step, "")
    default = default or ("take it" if _takes_by_enter(screen) else "")
    does = [f"Enter: {default}"] if default else []
    if screen["fields"]:
        does.append("or type a number")
    if step in ("fuel", "kindling", "starter", "water", "char", "unburnt"):
        does.append("t: take a tray off")
    if screen["can_skip"]:
        does.append("s: skip")
    if screen["can_go_back"]:
        does.append("b: back")
    return " · ".join([*does, "q: leave, go on later"])


def figure(value: Mapping[str, Any]) -> str:
    """Return a number with its ± and unit."""
    number = ufloat(value["value"], value["u"]) if value["u"] else to_affine_scalar(value["value"])
    told = parts(number, value["unit"])
    return " ".join(filter(None, (told.nominal, f"± {told.half}" if told.half else "", told.unit)))


def closing_lines(finish: Mapping[str, Any]) -> list[str]:
    """Return what a burn came to, and what was left out."""
    lines = []
    if finish["missing"]:
        lines += ["Left out:", *(f"  {words}" for words in finish["missing"])]
    if finish["advice"]:
        lines += ["What would help most:", *(f"  {words}" for words in finish["advice"])]
    return [*lines, PLUS_MINUS_MEANS + "."]


def _takes_by_enter(screen: Screen) -> bool:
    return bool(screen["takes"] or screen["reading"] is not None or screen["listed"])


def _large(reading: Mapping[str, Any]) -> RenderableType:
    if reading["value"] is None:
        return Text("no reading", style="bold red")
    steady = reading["steady"]
    shown = f"{reading['value']:.1f}".replace("-0.0", "0.0").replace("-", "−")
    rows = [" ".join(_FONT[sign][row] for sign in shown) for row in range(3)]
    half = half_width(reading["u"], reading["unit"]) if reading["u"] and steady else ""
    aside = ["", half or reading["unit"], reading["words"] if steady else "not steady yet …"]
    lines: Sequence[str] = [f"{row}   {words}" for row, words in zip(rows, aside, strict=True)]
    return Text("\n".join(lines), style="bold green" if steady else "bold")


def _small(words: str) -> list[RenderableType]:
    return [Text(words, style="dim")] if words else []
