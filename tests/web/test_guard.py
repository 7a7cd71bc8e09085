"""Who may come in: the right name, the right origin, the pass code, and no more than there is room for."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import Message, Scope
from starlette.websockets import WebSocket

from airproof.web.guard import (
    ALL_TRIES,
    COOKIE,
    HEADERS,
    LARGEST_BODY,
    TRIES,
    WITHIN_S,
    Door,
    Guard,
    new_code,
    ours,
    same_origin,
)

HERE, THERE = "127.0.0.1", "192.168.1.20"
ORIGIN = "http://127.0.0.1:8765"


class Clock:
    """Time as the test wants it."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


async def _inside(request: Request) -> Response:
    try:
        body = await request.body()
    except ClientDisconnect:
        return PlainTextResponse("cut off", 499)
    return PlainTextResponse(f"{request.method} {len(body)}")


async def _socket(socket: WebSocket) -> None:
    await socket.accept()
    await socket.send_text("in")
    await socket.close()


def guarded(door: Door | None = None, roomy: Callable[[str], bool] = lambda path: path == "/roomy") -> Starlette:
    """A tiny application with the guard before it."""
    methods = ["GET", "POST", "PUT", "DELETE", "HEAD"]
    paths = ("/", "/roomy", "/door", "/assets/a.css", "/assets")
    routes = [*(Route(path, _inside, methods=methods) for path in paths), WebSocketRoute("/line", _socket)]
    return Starlette(routes=routes, middleware=[Middleware(Guard, door=door, roomy=roomy)])


def ask(
    app: Starlette, method: str = "GET", path: str = "/", *, client: str = HERE, body: Any = None, **headers: str
) -> httpx.Response:
    """One request; headers with `_` for `-`, "" for none."""
    sent = {"host": "127.0.0.1:8765", "origin": ORIGIN, **headers}
    named = {name.replace("_", "-"): value for name, value in sent.items() if value}

    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(app, client=(client, 50000))
        async with httpx.AsyncClient(transport=transport, base_url="http://x") as one:
            return await one.request(method, path, content=body, headers=named)

    return asyncio.run(go())


class TestNames:
    @pytest.mark.parametrize(
        "host",
        ["localhost", "localhost:8765", "LOCALHOST:1", "127.0.0.1", "127.0.0.1:8765", "127.8.9.1", "[::1]", "[::1]:80"],
    )
    def test_names_of_this_computer_are_ours(self, host: str) -> None:
        assert ours(host, shared=False)
        assert ours(host, shared=True)
        assert ask(guarded(), host=host, origin="").status_code == 200

    @pytest.mark.parametrize(
        "host",
        [
            "", "airproof.example", "localhost.example", "127.0.0.1.example", "evil.example:8765", "localhost.", "[",
            "]", "[::1", "127.0.0.1@evil.example", "evil.example#localhost", "0x7f.1", "127.1", "2130706433", "\xff",
            "a b", "[evil.example]", "127.0.0.1:port", "..", "%31%32%37.0.0.1",
        ],
    )  # fmt: skip
    def test_names_that_somebody_can_point_here_are_not(self, host: str) -> None:
        for shared in (False, True):
            if host != "127.0.0.1:port":
                assert not ours(host, shared=shared)
        if host.isascii() and host not in ("", "127.0.0.1:port"):
            answer = ask(guarded(), host=host)
            assert (answer.status_code, "does not answer under that name" in answer.text) == (421, True)

    @pytest.mark.parametrize("host", ["192.168.1.5", "10.0.0.1:8765", "[fd00::1]:8765"])
    def test_an_address_of_the_network_only_where_the_pages_are_shared(self, host: str) -> None:
        assert not ours(host, shared=False)
        assert ours(host, shared=True)

    def test_the_computers_own_name_only_where_the_pages_are_shared(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("socket.gethostname", lambda: "Bench-2.shop.example")
        for host in ("bench-2", "BENCH-2:8765", "bench-2.shop.example", "bench-2.shop.example.local"):
            assert ours(host, shared=True)
            assert not ours(host, shared=False)
        assert not ours("bench-3", shared=True)

    def test_without_any_name_nothing_is_answered(self) -> None:
        assert status(guarded(), headers=[]) == 421

    @settings(deadline=None, derandomize=True)
    @given(st.text(st.characters(max_codepoint=255), max_size=40), st.booleans())
    def test_any_name_is_ours_or_not(self, host: str, shared: bool) -> None:
        assert ours(host, shared=shared) in (True, False)

    @settings(deadline=None, derandomize=True)
    @given(st.from_regex(r"[a-z0-9-]{1,12}(\.[a-z0-9-]{1,8}){1,3}(:[0-9]{1,5})?", fullmatch=True))
    def test_no_name_with_letters_is_ours_but_localhost(self, host: str) -> None:
        if any(sign.isalpha() for sign in host):
            assert not ours(host, shared=False)


class TestOrigins:
    @pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
    @pytest.mark.parametrize(
        "origin",
        ["", "null", "http://evil.example", "http://127.0.0.1:9999", "https://localhost:8765", "file://127.0.0.1:8765",
         "http://127.0.0.1:8765.evil.example", "http://evil.example/127.0.0.1:8765", "http://[", "127.0.0.1:8765"],
    )  # fmt: skip
    def test_what_changes_anything_must_come_from_our_pages(self, method: str, origin: str) -> None:
        assert ask(guarded(), method, origin=origin).status_code == 403

    def test_our_own_pages_may(self) -> None:
        assert ask(guarded(), "POST", body=b"abc").text == "POST 3"
        assert ask(guarded(), "POST", host="LocalHost:80", origin="http://localhost:80").status_code == 200

    def test_looking_needs_none_and_no_foreign_page_may_read_along(self) -> None:
        assert ask(guarded(), origin="").status_code == 200
        for origin in ("http://evil.example", "null", "http://127.0.0.1:9999"):
            answer = ask(guarded(), origin=origin)
            assert (answer.status_code, "access-control-allow-origin" in answer.headers) == (403, False)

    @settings(deadline=None, derandomize=True)
    @given(
        st.text(st.characters(max_codepoint=255), max_size=40), st.text(st.characters(max_codepoint=255), max_size=20)
    )
    def test_any_origin_is_the_same_or_not(self, origin: str, host: str) -> None:
        assert same_origin(origin, host) in (True, False)

    @pytest.mark.parametrize(
        ("headers", "client", "says"),
        [
            (
                {"host": "127.0.0.1:8765", "origin": ORIGIN},
                HERE,
                ["websocket.accept", "websocket.send", "websocket.close"],
            ),
            ({"host": "127.0.0.1:8765", "origin": "http://evil.example"}, HERE, ["websocket.close"]),
            ({"host": "127.0.0.1:8765"}, HERE, ["websocket.close"]),
            ({"host": "evil.example", "origin": "http://evil.example"}, HERE, ["websocket.close"]),
            ({"host": "127.0.0.1:8765", "origin": ORIGIN}, THERE, ["websocket.close"]),
            ({"host": "127.0.0.1:8765", "origin": ORIGIN, "cookie": f"{COOKIE}=x"}, THERE, ["websocket.close"]),
        ],
    )
    def test_a_line_that_stays_open_is_asked_too(self, headers: dict[str, str], client: str, says: list[str]) -> None:
        answered = line(guarded(Door("123456")), headers, client)
        assert [one["type"] for one in answered] == says
        assert says != ["websocket.close"] or answered[0]["code"] == 1008

    def test_a_line_is_open_to_who_has_shown_the_code(self) -> None:
        door = Door("123456")
        headers = {"host": "127.0.0.1:8765", "origin": ORIGIN, "cookie": f"{COOKIE}={door.let_in('123456', THERE)}"}
        assert line(guarded(door), headers, THERE)[0]["type"] == "websocket.accept"


class TestHeaders:
    @pytest.mark.parametrize(
        ("asked", "status"),
        [
            ({}, 200), ({"path": "/nowhere"}, 404), ({"host": "evil.example"}, 421),
            ({"method": "POST", "origin": "null"}, 403), ({"method": "POST", "content_length": "99999999"}, 413),
        ],
    )  # fmt: skip
    def test_every_answer_has_them(self, asked: dict[str, str], status: int) -> None:
        answer = ask(guarded(), **asked)  # type: ignore[arg-type]
        assert answer.status_code == status
        assert {name: answer.headers[name] for name in HEADERS} == HEADERS

    def test_the_door_has_them(self) -> None:
        app = guarded(Door("123456"))
        for answer in (ask(app, client=THERE), knock(app, "0"), knock(app, "123456")):
            assert {name: answer.headers[name] for name in HEADERS} == HEADERS

    def test_nothing_from_anywhere_else_is_let_in_by_them(self) -> None:
        policy = dict(part.strip().split(" ", 1) for part in HEADERS["Content-Security-Policy"].split(";"))
        assert policy["default-src"] == policy["connect-src"] == "'self'"
        assert policy["frame-ancestors"] == policy["object-src"] == policy["base-uri"] == "'none'"
        assert not any("http" in sources or "*" in sources for sources in policy.values())

    def test_one_that_a_page_sets_itself_stays(self) -> None:
        async def page(_: Request) -> Response:
            return PlainTextResponse("", headers={"Content-Security-Policy": "default-src 'none'"})

        app = Starlette(routes=[Route("/", page)], middleware=[Middleware(Guard)])
        assert ask(app).headers["Content-Security-Policy"] == "default-src 'none'"


def knock(app: Starlette, code: str, client: str = THERE, **headers: str) -> httpx.Response:
    """Show a pass code at the door."""
    form = {"content_type": "application/x-www-form-urlencoded", **headers}
    return ask(app, "POST", "/door", client=client, body=f"code={code}".encode(), **form)


class TestTheDoor:
    def test_a_code_is_six_figures(self) -> None:
        codes = {new_code() for _ in range(50)}
        assert all(len(code) == 6 and code.isdecimal() for code in codes)
        assert len(codes) > 40

    def test_this_computer_needs_none(self) -> None:
        for client in ("127.0.0.1", "127.0.0.9", "::1"):
            assert ask(guarded(Door("123456")), client=client).status_code == 200

    @pytest.mark.parametrize("client", [THERE, "8.8.8.8", "fe80::1", "no address", ""])
    @pytest.mark.parametrize("path", ["/", "/roomy", "/nowhere", "/door", "/assets"])
    def test_another_is_shown_the_door_whatever_is_asked_for(self, client: str, path: str) -> None:
        answer = ask(guarded(Door("123456")), path=path, client=client)
        assert answer.status_code == 401
        assert "Pass code" in answer.text
        assert "123456" not in answer.text

    def test_what_the_door_looks_like_may_be_fetched(self) -> None:
        assert ask(guarded(Door("123456")), path="/assets/a.css", client=THERE).status_code == 200
        assert ask(guarded(Door("123456")), path="/assets/../roomy", client=THERE).status_code == 401

    def test_changing_anything_needs_it_too(self) -> None:
        for method, path in (("POST", "/"), ("DELETE", "/"), ("POST", "/roomy"), ("PUT", "/door")):
            assert ask(guarded(Door("123456")), method, path, client=THERE, body=b"x").status_code == 401

    def test_the_right_code_lets_in_with_a_cookie_that_no_script_and_no_other_site_can_use(self) -> None:
        app = guarded(Door("012345"))
        answer = knock(app, " 012345 ".replace(" ", "%20"))
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
        cookie, *flags = [part.strip() for part in answer.headers["set-cookie"].split(";")]
        assert {flag.lower() for flag in flags} == {
            "httponly",
            "samesite=strict",
            "path=/",
        }  # no age: until it is closed
        name, _, token = cookie.partition("=")
        assert (name, len(token)) == (COOKIE, 64)
        assert ask(app, client=THERE, cookie=cookie).text == "GET 0"
        assert ask(app, client="192.168.1.99", cookie=f"a=b; {cookie}").text == "GET 0"
        for wrong in (
            f"{COOKIE}=",
            f"{COOKIE}={token[:-1]}",
            f"{COOKIE}={token}0",
            f"{COOKIE}={token.upper()}x",
            token,
        ):
            assert ask(app, client=THERE, cookie=wrong).status_code == 401
        assert ask(guarded(Door("012345")), client=THERE, cookie=cookie).status_code == 401  # of another evening

    def test_each_who_comes_in_has_a_token_of_his_own(self) -> None:
        door = Door("123456")
        tokens = {door.let_in("123456", THERE) for _ in range(3)}
        assert len(tokens) == 3
        assert all(token is not None and door.knows(token) for token in tokens)
        assert not door.knows("")

    @pytest.mark.parametrize(
        "code",
        [
            "",
            "12345",
            "1234567",
            "123457",
            "%31",
            "123456%00",
            "\uff11\uff12\uff13\uff14\uff15\uff16",
            "%ff",
            "&",
            "=" * 20,
        ],
    )
    def test_any_other_does_not(self, code: str) -> None:
        answer = knock(guarded(Door("123456")), code)
        assert (answer.status_code, "set-cookie" in answer.headers) == (403, False)
        assert "That is not the pass code." in answer.text

    def test_no_other_site_may_knock(self) -> None:
        answer = knock(guarded(Door("123456")), "123456", origin="http://evil.example")
        assert (answer.status_code, "set-cookie" in answer.headers) == (403, False)

    def test_what_is_no_pass_code_by_its_length_is_not_read_on(self) -> None:
        async def endless() -> AsyncIterator[bytes]:
            while True:
                yield b"code=" * 50

        answer = ask(guarded(Door("123456")), "POST", "/door", client=THERE, body=endless())
        assert answer.status_code == 400

    def test_who_leaves_while_knocking_is_no_fault_of_ours(self) -> None:
        sent = [{"type": "http.request", "body": b"co", "more_body": True}, {"type": "http.disconnect"}]
        door = Door("123456")
        headers = [(b"host", b"127.0.0.1:8765"), (b"origin", ORIGIN.encode())]
        status(guarded(door), "POST", "/door", headers=headers, messages=sent, client=THERE)
        assert door.tokens == set()

    @settings(deadline=None, derandomize=True, max_examples=50, suppress_health_check=[HealthCheck.too_slow])
    @given(st.binary(max_size=60))
    def test_any_form_is_answered(self, body: bytes) -> None:
        answer = ask(guarded(Door("no such code")), "POST", "/door", client=THERE, body=body)
        assert answer.status_code == 403

    def test_without_sharing_there_is_no_door(self) -> None:
        assert knock(guarded(), "123456", client=HERE).text == "POST 11"


class TestTryingOften:
    def test_one_address_may_try_so_often_and_then_wait(self) -> None:
        clock = Clock()
        app = guarded(Door("123456", clock))
        assert [knock(app, "0").status_code for _ in range(TRIES)] == [403] * TRIES
        answer = knock(app, "123456")
        assert (answer.status_code, "Wait 5 minutes" in answer.text) == (429, True)
        assert knock(app, "123456", client="192.168.1.21").status_code == 303  # others are not punished for it
        clock.now += WITHIN_S + 1.0
        assert knock(app, "123456").status_code == 303

    def test_each_wrong_one_is_forgotten_by_itself(self) -> None:
        clock = Clock()
        door = Door("123456", clock)
        for _ in range(TRIES):
            assert door.let_in("0", THERE) is None
            clock.now += WITHIN_S / TRIES
        clock.now += 1.0
        assert door.let_in("0", THERE) is None  # the first is out of sight by now
        with pytest.raises(PermissionError):
            door.let_in("123456", THERE)

    def test_many_addresses_together_may_try_so_often(self) -> None:
        clock = Clock()
        door = Door("123456", clock)
        for number in range(ALL_TRIES):
            assert door.let_in("0", f"10.0.0.{number}") is None
        with pytest.raises(PermissionError):
            door.let_in("123456", "10.0.1.1")
        clock.now += WITHIN_S + 1.0
        assert door.let_in("123456", "10.0.1.1") is not None
        assert door.wrong == {}

    def test_being_refused_costs_no_further_time(self) -> None:
        clock = Clock()
        door = Door("123456", clock)
        for _ in range(TRIES):
            door.let_in("0", THERE)
        for _ in range(10):
            clock.now += WITHIN_S / 20
            with pytest.raises(PermissionError):
                door.let_in("0", THERE)
        clock.now += WITHIN_S / 2 + 1.0
        assert door.let_in("123456", THERE) is not None

    @settings(deadline=None, derandomize=True, max_examples=60)
    @given(
        st.lists(st.tuples(st.integers(0, 20), st.sampled_from(["0", "123456"]), st.floats(0.0, 40.0)), max_size=150)
    )
    def test_never_more_wrong_ones_within_the_time_than_are_allowed(self, tries: list[tuple[int, str, float]]) -> None:
        clock = Clock()
        door = Door("123456", clock)
        heard: list[tuple[float, str]] = []
        for address, code, later in tries:
            clock.now += later
            try:
                token = door.let_in(code, str(address))
            except PermissionError:
                continue
            assert (token is not None) == (code == "123456")
            if token is None:
                heard.append((clock.now, str(address)))
            lately = [who for when, who in heard if clock.now - when <= WITHIN_S]
            assert len(lately) <= ALL_TRIES
            assert all(lately.count(who) <= TRIES for who in lately)


class TestSizes:
    def test_a_page_is_sent_no_more_than_a_form(self) -> None:
        assert ask(guarded(), "POST", body=b"x" * LARGEST_BODY).text == f"POST {LARGEST_BODY}"
        answer = ask(guarded(), "POST", body=b"x" * (LARGEST_BODY + 1))
        assert (answer.status_code, "At most 2 MiB" in answer.text) == (413, True)

    def test_where_recordings_go_there_is_room(self) -> None:
        assert ask(guarded(), "POST", "/roomy", body=b"x" * (LARGEST_BODY + 1)).text == f"POST {LARGEST_BODY + 1}"

    @pytest.mark.parametrize("length", ["", "10", "0"])
    def test_a_body_is_counted_whatever_it_says_of_itself(self, length: str) -> None:
        async def parts() -> AsyncIterator[bytes]:
            for _ in range(40):
                yield b"x" * (LARGEST_BODY // 32)

        said = {"content_length": length} if length else {}
        assert ask(guarded(), "POST", body=parts(), **said).status_code == 499

    @pytest.mark.parametrize("length", ["-1", "1e3", "x", "+5", "0x10", "9" * 5000, "\xb2", "5 5", "5,5"])
    def test_a_length_that_is_none_is_refused(self, length: str) -> None:
        headers = [
            (b"host", b"127.0.0.1"),
            (b"origin", b"http://127.0.0.1"),
            (b"content-length", length.encode("latin1")),
        ]
        assert status(guarded(), "POST", headers=headers) == 413


def line(app: Starlette, headers: dict[str, str], client: str) -> list[Message]:
    """What is said to one who wants to open a line."""
    scope: Scope = {
        "type": "websocket", "asgi": {"version": "3.0"}, "http_version": "1.1", "scheme": "ws", "path": "/line",
        "raw_path": b"/line", "query_string": b"", "root_path": "", "subprotocols": [],
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
        "client": (client, 50000), "server": ("127.0.0.1", 8765),
    }  # fmt: skip
    return answers(app, scope, [{"type": "websocket.connect"}])


def answers(app: Starlette, scope: Scope, messages: list[dict[str, Any]]) -> list[Message]:
    """All that an application sends back."""
    coming = iter(messages)
    answered: list[Message] = []

    async def receive() -> Message:
        return next(coming, {"type": "http.disconnect"})

    async def send(message: Message) -> None:
        answered.append(message)

    asyncio.run(app(scope, receive, send))
    return answered


def status(
    app: Starlette,
    method: str = "GET",
    path: str = "/",
    *,
    headers: list[tuple[bytes, bytes]],
    messages: list[dict[str, Any]] | None = None,
    client: str = HERE,
) -> int | None:
    """The status of the answer to a request that no decent client would send; None where there was none."""
    scope: Scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
        "path": path, "raw_path": path.encode(), "query_string": b"", "root_path": "", "headers": headers,
        "client": (client, 50000), "server": ("127.0.0.1", 8765),
    }  # fmt: skip
    answered = answers(app, scope, messages or [{"type": "http.request", "body": b"", "more_body": False}])
    return next((one["status"] for one in answered if one["type"] == "http.response.start"), None)


def test_what_is_neither_a_page_nor_a_line_goes_through() -> None:
    began: list[str] = []

    async def app(scope: Scope, receive: Any, send: Any) -> None:
        began.append(scope["type"])

    asyncio.run(Guard(app)({"type": "lifespan"}, None, None))  # type: ignore[arg-type]
    assert began == ["lifespan"]
