"""Requests that no browser sends: made of the routes that there are, of what belongs into them and of what does not."""

import random
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any
from urllib.parse import quote, urlencode

from starlette.routing import Route

from benchmarks.fuzz.inputs import damaged
from emberline.service.clock import Clock
from emberline.service.health import HealthWatch
from emberline.web.site import site

SECRET_FILE, SECRET = "secret.txt", "what-no-page-may-ever-show"
ATTEMPTS = (
    *(
        f"{up * times}{SECRET_FILE}"
        for up in ("../", "..%2f", "%2e%2e/", "..%5c", "....//", "..%252f")
        for times in (1, 3)
    ),
    *(".", "..", "%2e%2e", "/", "//", "%2f", SECRET_FILE, "pages.token", "emberline.sqlite3", f"x%00{SECRET_FILE}"),
    *("/etc/passwd", "%2fetc%2fpasswd", "file:%2f%2f%2fetc%2fpasswd", "~root", "C:%5cWindows", "%ff%fe", "%ed%a0%80"),
)
"""What is put into a path to come out elsewhere."""
Known = Mapping[str, Sequence[str]]
"""Ids that are there, by the parameter that takes them."""
_PARAMETER = re.compile(r"\{(\w+)\}")

_HURTS = (
    *(
        "",
        " ",
        "0",
        "-1",
        "1e400",
        "-inf",
        "nan",
        "9" * 5_000,
        "1" * 20,
        "0x10",
        "1_000",
        "٣",
        "²",
        "½",
        "\N{MINUS SIGN}3",
    ),
    *(
        "\0",
        "\r\n",
        "\r\nX: y",
        "\x7f",
        "\N{ZERO WIDTH SPACE}",
        "\N{RIGHT-TO-LEFT OVERRIDE}x",
        "\N{FIRE}" * 50,
        "ı",
        "ß",
    ),
    *(
        "'",
        '"',
        "'; DROP TABLE trials; --",
        "<script>",
        "{{7*7}}",
        "{% x %}",
        "%s%n%d",
        "$(id)",
        "`id`",
        "|",
        "&",
        "=",
        "[",
        "]",
    ),
    *("A" * 3_000, "/" * 300, "../../" + SECRET_FILE, "[" * 2_000, "\\" * 300, "null", "None", "true", "[]", "{}"),
    *(
        'label = "x"\n[fuel]\nmass_g = 1e400\n',
        "[[pot.visit]]\n" * 200,
        'label = """',
        "a.b.c = 1",
        "[fuel]\nmass_g = nan",
    ),
)
_FITS = (
    *("boil", "lit", "pot_on", "pot_off", "refuel", "flameout", "step", "note", "delete", "move", "add", "include"),
    *("9:34", "-0:20", "574 s", "12,5", "1", "2", "0.5", "1.0", "Ana", "the lid rattled", "chips", "yard", "last"),
    *(
        "begin",
        "take:0",
        "go:fuel",
        "skip",
        "back",
        "keep",
        "finish",
        "retire",
        "again",
        "lot",
        "stove",
        "pot",
        "on",
        "steel",
    ),
    *(
        "boil 135.2",
        "boil 135.2 1",
        "lit 60.0",
        "A",
        "B",
        "holes",
        "time_to_boil",
        "burning_rate_mean",
        "up",
        "down",
        "began",
    ),
    *('label = "one"\n[fuel]\nmass_g = 300.0\n', "", "water,mass", "2025-11-25", "20 ± 1"),
)
_FIELDS = (
    *(
        "act",
        "who",
        "kind",
        "why",
        "text",
        "seen",
        "do",
        "t",
        "series",
        "lid",
        "label",
        "at",
        "zero_s",
        "with_pot",
        "wished",
    ),
    *("was", "u_s", "sort", "result", "plan", "photo", "order", "of", "name", "kindling", "factors", "factor_name_0"),
    *("factor_word_0", "event", "by", "bench", "as_last", "alarm", "ago_s", "page", "show", "title", "square", "token"),
    *("fuel.mass_g", "fuel.u_mass_g", "fuel.moisture_wet", "pot.tare_g", "pot.final_water_g", "fuel.char_left_g"),
    *(
        "moisture_wet",
        "lhv_dry_j_g",
        "tare_g",
        "material",
        "moisture_date",
        "known_g",
        "shown_g",
        "factor.holes",
        "pick.1",
    ),
)
_METHODS = (
    "GET",
    "POST",
    "PUT",
    "DELETE",
    "PATCH",
    "HEAD",
    "OPTIONS",
    "TRACE",
    "CONNECT",
    "PROPFIND",
    "get",
    "G\tT",
    "X" * 300,
)
_KINDS = (
    *("application/x-www-form-urlencoded", "application/x-www-form-urlencoded; charset=utf-16", "application/json"),
    *(
        "multipart/form-data",
        "multipart/form-data; boundary=",
        "multipart/form-data; boundary=x; boundary=y",
        "text/plain",
    ),
    *(
        "multipart/form-data; boundary=" + "b" * 500,
        "multipart/form-data; charset=nothing; boundary=edge",
        "\xff/\xfe",
        "",
    ),
)
_HEADERS = (
    *(
        "Origin",
        "Sec-Fetch-Site",
        "Referer",
        "Cookie",
        "Authorization",
        "If-None-Match",
        "Last-Event-ID",
        "Range",
        "Accept",
    ),
    *(
        "Accept-Encoding",
        "Expect",
        "Upgrade",
        "X-Forwarded-For",
        "X-Forwarded-Host",
        "Forwarded",
        "X-HTTP-Method-Override",
    ),
    *("Content-Encoding", "Content-Length", "Transfer-Encoding", "Host", "Content-Type", "Connection", "X" * 100),
)
_LINES = (
    "gzip",
    "chunked",
    "100-continue",
    "websocket",
    "bytes=0-99999999",
    "*/*",
    "cross-site",
    "null",
    "close",
    "5",
    "-5",
    "1e3",
)


@dataclass(frozen=True, slots=True)
class Made:
    """One request.

    Attributes:
        words: What it is, in few words.
        raw: Its bytes.
        whole: Whether it is complete, so that it has to be answered.
        path: Its path, as it was sent.
    """

    words: str
    raw: bytes
    whole: bool
    path: str


def all_routes() -> list[Route]:
    """Return the routes of a daemon's pages."""

    async def nothing(_: str, __: str) -> bytes:
        return b""

    parts = dict.fromkeys(("store", "desk", "inventory", "guides", "summaries", "figures"))
    watch = HealthWatch(Clock(1.0, 0, 0.0, lambda: 0.0))
    daemon: Any = SimpleNamespace(**parts, lanes={}, health=watch)
    app: Any = site(daemon, "", nothing)
    while not hasattr(app, "routes"):
        app = app._app
    return list(app.routes)


def leading_elsewhere(routes: Sequence[Route], port: int, known: Known) -> list[Made]:
    """Return one request for each parameter of each route and each attempt to come out elsewhere."""
    host = ("Host", f"127.0.0.1:{port}")
    made = [_made("GET", f"/{attempt}", [host], b"") for attempt in ATTEMPTS]
    for route in routes:
        method = "POST" if "POST" in (route.methods or ()) else "GET"
        for name in _PARAMETER.findall(route.path):
            for attempt in ATTEMPTS:
                values = {
                    **dict.fromkeys(_PARAMETER.findall(route.path), "x"),
                    **{key: ids[0] for key, ids in known.items()},
                }
                path = _filled(route.path, {**values, name: attempt}.__getitem__)
                made.append(_made(method, path, [host, ("Content-Length", "0")], b""))
    return made


def _filled(path: str, value: Callable[[str], str]) -> str:
    return _PARAMETER.sub(lambda found: value(found[1]), path)


class Maker:
    """Makes requests, the same ones again from the same seed."""

    def __init__(self, seed: int, routes: Sequence[Route], port: int, known: Known) -> None:
        """Prepare.

        Args:
            seed: Another one gives other requests.
            routes: Which there are.
            port: Where they are asked.
            known: Ids of trials and benches that are there, by the parameter that takes them.
        """
        self._dice = random.Random(seed)
        self._routes = routes
        self._host = f"127.0.0.1:{port}"
        self._known = known

    def make(self) -> Made:
        """Return one more."""
        dice = self._dice
        route = dice.choice(self._routes)
        right = "POST" if "POST" in (route.methods or ()) else "GET"
        method = right if dice.random() < 0.8 else dice.choice(_METHODS)
        path = _filled(route.path, self._part)
        if dice.random() < 0.3:
            path += "?" + self._fields()
        kind, body = self._body() if method != "GET" or dice.random() < 0.05 else ("", b"")
        headers = [("Host", self._host)] if dice.random() < 0.95 else [("Host", self._text())]
        if body:
            headers.append(("Content-Type", kind))
        chunked = bool(body) and dice.random() < 0.1
        headers.append(("Transfer-Encoding", "chunked") if chunked else ("Content-Length", str(len(body))))
        if dice.random() < 0.3:
            headers.append(("Accept", "application/json"))
        odd = [(dice.choice(_HEADERS), dice.choice(_LINES) if dice.random() < 0.6 else self._text()) for _ in range(3)]
        headers += odd[: dice.choice((0, 0, 0, 1, 1, 3))]
        made = _made(method, path, headers, _chunks(body) if chunked else body)
        if dice.random() < 0.2:
            raw = damaged([made.raw])(dice.randbytes(dice.randint(16, 128)))
            return Made(f"{made.words}, damaged", raw, False, made.path)
        return made

    def _part(self, name: str) -> str:
        dice = self._dice
        if name in self._known and dice.random() < 0.7:
            return dice.choice(self._known[name])
        match dice.randrange(4):
            case 0:
                return dice.choice(ATTEMPTS)
            case 1:
                return quote(self._text(), safe="")
            case _:
                return dice.choice(
                    (*FILES, "1", "1" * 40, "event", "new", "weights", "counting", "undo", "plan", "remark")
                )

    def _text(self) -> str:
        dice = self._dice
        match dice.randrange(8):
            case 0 | 1 | 2:
                return dice.choice(_HURTS)
            case 3:
                return "".join(map(chr, dice.choices(range(1, 0xD800), k=dice.randrange(20))))
            case 4:
                return dice.choice(_HURTS) + dice.choice(_FITS)
            case _:
                return dice.choice(_FITS)

    def _fields(self) -> str:
        dice = self._dice
        many = 1_500 if dice.random() < 0.01 else dice.randrange(8)
        pairs = [
            (dice.choice(_FIELDS) if dice.random() < 0.9 else self._text(), self._text()[:3_500]) for _ in range(many)
        ]
        return urlencode(pairs)[:60_000]

    def _body(self) -> tuple[str, bytes]:
        dice = self._dice
        match dice.randrange(10):
            case 0:
                return dice.choice(_KINDS), dice.randbytes(dice.randrange(400))
            case 1:
                return "application/json", b"[" * dice.randrange(3_000)
            case 2:
                return dice.choice(_KINDS), self._fields().encode()
            case 3:
                return "application/x-www-form-urlencoded", b"text=" + b"%41" * dice.choice((10, 66_000, 90_000))
            case 4 | 5:
                return f"multipart/form-data; boundary={'edge'}", self._parts()
            case _:
                return "application/x-www-form-urlencoded", self._fields().encode()

    def _parts(self) -> bytes:
        dice, made = self._dice, b""
        for _ in range(dice.randrange(5)):
            name = dice.choice(_FIELDS)
            file = f'; filename="{self._text()}"' if dice.random() < 0.5 else ""
            content = dice.choice(
                (dice.randbytes(200), self._text().encode(), b"\xff\xd8\xff\xe0\0\x10JFIF", b"\x89PNG\r\n\x1a\n")
            )
            made += (
                f'--edge\r\nContent-Disposition: form-data; name="{name}"{file}\r\n\r\n'.encode() + content + b"\r\n"
            )
        return made + dice.choice((b"--edge--\r\n", b"--edge--\r\n", b"--edge", b""))


FILES = ("summary.json", "curves.svg", "card.png", "burn.zip", "frame.css", "png", "parts.json")
"""What stands at the end of some paths: what is served, and what is not."""


def _made(method: str, path: str, headers: Sequence[tuple[str, str]], body: bytes) -> Made:
    lines = [f"{method} {path} HTTP/1.1", *(f"{name}: {value}" for name, value in headers), "Connection: close"]
    raw = "\r\n".join(lines).encode("utf-8", "replace") + b"\r\n\r\n" + body
    # A header that says another length of the body than it has leaves the request without an end.
    names = [name.lower() for name, _ in headers]
    whole = all(names.count(name) < 2 for name in names) and "expect" not in names and "upgrade" not in names
    whole = whole and not {"content-length", "transfer-encoding"} <= set(names) and method != "CONNECT"
    whole = whole and not any(bad in f"{value}{path}{method}" for bad in "\r\n" for _, value in headers)
    return Made(f"{method} {path[:80]}", raw, whole, path)


def _chunks(body: bytes) -> bytes:
    pieces = [body[at : at + 7_000] for at in range(0, len(body), 7_000)]
    return b"".join(b"%x\r\n%s\r\n" % (len(piece), piece) for piece in pieces) + b"0\r\n\r\n"
