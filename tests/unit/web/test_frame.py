import socket

import pytest
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from emberline.service.errors import RequestError
from emberline.store.errors import StoreFullError, UnknownTrialError
from emberline.web.frame import ERRORS, Guard, StaticFiles, as_json, done, named, page, refused
from web_fixture import Answer, asked

SHORT = socket.gethostname().partition(".")[0]


async def kept(request: Request) -> Response:
    return PlainTextResponse("kept")


async def failing(request: Request) -> Response:
    kinds: dict[str, Exception] = {
        "request": RequestError("no trial is running"),
        "trial": UnknownTrialError("there is no trial 'x'"),
        "disk": StoreFullError("the disk is full: free some room"),
        "http": HTTPException(404, "No such bench."),
        "left": ClientDisconnect(),
        "bug": ZeroDivisionError("a secret of the inside"),
    }
    raise kinds[request.path_params["kind"]]


APP = Guard(
    Starlette(
        routes=[
            Route("/", kept, methods=["GET", "POST"]),
            Route("/fail/{kind}", failing, methods=["GET", "POST"]),
            Route("/static/{name}", StaticFiles().serve),
        ],
        exception_handlers=ERRORS,
    )
)


async def post(**headers: str) -> Answer:
    return await asked(APP, "POST", "/", {name.replace("_", "-"): value for name, value in headers.items()})


@pytest.mark.parametrize(
    "host",
    [
        "127.0.0.1:8437",
        "192.168.1.7:8437",
        "[::1]:8437",
        "localhost:1",
        socket.gethostname(),
        f"{SHORT}.lan",
        f"{SHORT}.local:80",
    ],
)
async def test_pages_of_this_machine_may_post(host: str) -> None:
    assert (await post(host=host, origin=f"http://{host}")).status == 200
    assert (await post(host=host)).status == 200


async def test_another_sites_page_may_not_post() -> None:
    answer = await post(host="127.0.0.1:8437", origin="http://elsewhere.example")
    assert answer.status == 403
    assert "not from one of Emberline&#39;s" in answer.text
    assert (await post(host="127.0.0.1:8437", origin="null")).status == 403
    assert (await post(host="127.0.0.1:8437", sec_fetch_site="cross-site")).status == 403
    assert (await post(host="127.0.0.1:8437", origin="http://127.0.0.1:9000")).status == 403


async def test_a_name_that_was_made_to_lead_here_may_not_post() -> None:
    answer = await post(host="elsewhere.example:8437", origin="http://elsewhere.example:8437")
    assert answer.status == 403
    assert "It was sent to &#39;elsewhere.example:8437&#39;, which is no name of this machine" in answer.text
    assert (await post()).status == 403
    assert (await post(host=f"{SHORT}.elsewhere.example")).status == 403


async def test_every_answer_keeps_to_this_machine_and_out_of_caches() -> None:
    for path in ("/", "/nowhere", "/fail/request"):
        headers = (await asked(APP, "GET", path)).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert headers["cache-control"] == "no-store"
        assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    ("kind", "status", "words"),
    [
        ("request", 409, "No trial is running."),
        ("trial", 404, "The store holds no trial of that name."),
        ("disk", 503, "The disk is full: free some room."),
        ("http", 404, "No such bench."),
    ],
)
async def test_errors_are_told_in_words(kind: str, status: int, words: str) -> None:
    answer = await asked(APP, "GET", f"/fail/{kind}")
    assert (answer.status, words in answer.text) == (status, True)
    for_script = await asked(APP, "GET", f"/fail/{kind}", {"accept": "application/json"})
    assert for_script.json() == {"refused": {"": words}}


async def test_a_page_that_a_made_up_name_leads_to_may_not_even_read() -> None:
    # Another site's script, whose own name was made to lead here meanwhile, would be of one origin with what it reads.
    for host in ("elsewhere.example:8437", f"{SHORT}.elsewhere.example", "127.0.0.1.elsewhere.example"):
        answer = await asked(APP, "GET", "/", {"host": host})
        assert (answer.status, "kept" in answer.text) == (403, False)
    for host in ("localhost:8437", "192.168.1.7", f"{SHORT}.local"):
        assert (await asked(APP, "GET", "/", {"host": host})).status == 200


async def test_another_sites_page_may_lead_here_but_take_nothing() -> None:
    led = {"host": "127.0.0.1:8437", "sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
    assert (await asked(APP, "GET", "/", led)).status == 200
    for site in ("cross-site", "same-site"):
        for mode in ("no-cors", "cors", "websocket"):
            taken = {"host": "127.0.0.1:8437", "sec-fetch-site": site, "sec-fetch-mode": mode}
            assert (await asked(APP, "GET", "/", taken)).status == 403
    ours = {"host": "127.0.0.1:8437", "sec-fetch-site": "same-origin", "sec-fetch-mode": "cors"}
    answer = await asked(APP, "GET", "/", ours)
    assert (answer.status, answer.headers["cross-origin-resource-policy"]) == (200, "same-origin")


async def test_the_name_by_which_pages_are_served_is_ours() -> None:
    named = Guard(APP._app, "Bench.example.org")
    host = {"host": "bench.example.org:8437", "origin": "https://bench.example.org:8437"}
    assert (await asked(named, "POST", "/", host)).status == 200
    assert (await asked(APP, "POST", "/", host)).status == 403


@pytest.mark.parametrize("host", ["[", "[::1", "[x]", "//", "@", ":", "127.0.0.1:x", "\x7f", "a b"])
async def test_a_host_that_is_none_breaks_nothing(host: str) -> None:
    for method in ("GET", "POST"):
        assert (await asked(APP, method, "/", {"host": host, "origin": f"http://{host}"})).status in (200, 403)
    assert (await asked(APP, "POST", "/", {"host": "localhost", "origin": f"http://{host}"})).status == 403


async def test_a_bug_is_owned_up_to_without_its_insides() -> None:
    for_script = await asked(APP, "GET", "/fail/bug", {"accept": "application/json"}, raises=[ZeroDivisionError])
    assert for_script.status == 500
    assert "Something went wrong" in for_script.json()["refused"][""]
    answer = await asked(APP, "GET", "/fail/bug", raises=[ZeroDivisionError])
    assert answer.status == 500
    assert "Something went wrong in Emberline itself" in answer.text
    assert "secret" not in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]


async def test_a_viewer_who_leaves_while_sending_is_no_bug(caplog: pytest.LogCaptureFixture) -> None:
    answer = await asked(APP, "GET", "/fail/left")
    assert (answer.status, caplog.text) == (400, "")


async def test_a_method_that_opens_a_tunnel_is_refused_to_scripts_too() -> None:
    # Any answer of success would turn the connection into a tunnel (RFC 9110, section 9.3.6).
    for method in ("CONNECT", "GET", "DELETE"):
        for path in ("/nowhere", "/fail/request"):
            headers = {"host": "localhost", "accept": "application/json"}
            assert (await asked(APP, method, path, headers)).status in (404, 405, 409)


async def test_what_a_page_shows_is_escaped() -> None:
    text = bytes(page("error.html.j2", title="<script>", words="a & b").body).decode()
    assert "<h1>&lt;script&gt;</h1>" in text
    assert "a &amp; b" in text


async def test_a_static_file_is_sent_once() -> None:
    first = await asked(APP, "GET", "/static/frame.css")
    assert (first.status, first.headers["content-type"]) == (200, "text/css; charset=utf-8")
    again = await asked(APP, "GET", "/static/frame.css", {"if-none-match": first.headers["etag"]})
    assert (again.status, again.text) == (304, "")
    assert (await asked(APP, "GET", "/static/frame.py")).status == 404


async def test_scripts_are_told_and_others_are_led_on() -> None:
    scope = {"type": "http", "method": "POST", "headers": [(b"accept", b"application/json")]}
    assert bytes(done(Request(scope), "/next", "Kept.").body) == b'{"done":"Kept.","to":"/next"}'
    plain = done(Request({**scope, "headers": []}), "/next", "Kept.")
    assert (plain.status_code, plain.headers["location"]) == (303, "/next")
    assert bytes(refused({"mass": "too much"}).body) == b'{"refused":{"mass":"too much"}}'


def test_no_number_leaves_that_json_cannot_say() -> None:
    assert as_json({"a": 1.5}) == '{"a":1.5}'
    with pytest.raises(ValueError, match="not JSON compliant"):
        as_json({"a": float("nan")})


def test_a_bench_whose_id_says_that_it_is_one_is_not_called_so_twice() -> None:
    assert [named(bench) for bench in ("yard", "bench", "Bench-2")] == ["bench yard", "bench", "Bench-2"]
