"""Who may come in: the right name, the right origin, and no more than there is room for."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import pytest
from asking import HERE, ORIGIN, THERE, ask, guarded, knock, line, status
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import Scope

from airproof.web.guard import (
    COOKIE,
    HEADERS,
    LARGEST_BODY,
    Door,
    Guard,
    ours,
    same_origin,
)


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


def test_what_is_neither_a_page_nor_a_line_goes_through() -> None:
    began: list[str] = []

    async def app(scope: Scope, receive: Any, send: Any) -> None:
        began.append(scope["type"])

    asyncio.run(Guard(app)({"type": "lifespan"}, None, None))  # type: ignore[arg-type]
    assert began == ["lifespan"]
