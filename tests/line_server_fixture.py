"""A server that takes line protocol and answers as it is told: the hundred ways in which a real one turns rows away."""

import contextlib
import gzip
import re
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

Answer = Callable[["LineServer", list[str]], tuple[int, dict[str, str]]]

_LINE = re.compile(r"((?:\\.|[^\\ ])+) ((?:[^\" ]|\"[^\"]*\")+) (\d+)")
_TAG = re.compile(r"(?<!\\),")


def taken(server: "LineServer", lines: list[str]) -> tuple[int, dict[str, str]]:
    """Keep the rows, each under its stream and time, as such servers do."""
    for line in lines:
        server.keep(line)
    return 204, {}


@dataclass
class LineServer:
    """A server.

    Attributes:
        url: Its address.
        answer: What it does with rows.
        rows: Rows that it has, by measurement with tags and time.
        requests: Number of requests with rows.
        sizes: Number of rows in each.
    """

    url: str = ""
    answer: Answer = taken
    rows: dict[tuple[str, int], dict[str, str]] = field(default_factory=dict)
    requests: int = 0
    sizes: list[int] = field(default_factory=list)

    def keep(self, line: str) -> None:
        """Keep one row; a field that is sent again replaces the one before."""
        match = _LINE.fullmatch(line)
        assert match, line
        fields = dict(one.split("=", 1) for one in match[2].split(","))
        self.rows.setdefault((match[1], int(match[3])), {}).update(fields)

    def streams(self) -> set[str]:
        """Return the measurements with their tags."""
        return {stream for stream, _ in self.rows}


@contextlib.contextmanager
def line_server() -> Iterator[LineServer]:
    """Run a server on a free loopback port."""
    server = LineServer()

    class Handler(BaseHTTPRequestHandler):
        # A connection a request: none stays open when the test is over.
        protocol_version = "HTTP/1.0"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            if self.headers.get("Content-Encoding") == "gzip":
                body = gzip.decompress(body)
            assert "precision=ns" in self.path
            lines = body.decode().splitlines()
            server.requests += 1
            server.sizes.append(len(lines))
            assert lines, "an empty request"
            status, headers = server.answer(server, lines)
            with contextlib.suppress(OSError):
                self.send_response(status)
                for name, value in {"Content-Length": "0", **headers}.items():
                    self.send_header(name, value)
                self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    httpd = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    httpd.daemon_threads = False
    server.url = f"http://127.0.0.1:{httpd.server_address[1]}"
    thread = threading.Thread(target=httpd.serve_forever, kwargs={"poll_interval": 0.02}, name="line server")
    thread.start()
    try:
        yield server
    finally:
        httpd.shutdown()
        thread.join()
        httpd.server_close()


def slow(seconds: float) -> Answer:
    """Answer only after a while, and keep nothing."""

    def answer(_: LineServer, __: list[str]) -> tuple[int, dict[str, str]]:
        time.sleep(seconds)
        return 503, {}

    return answer
