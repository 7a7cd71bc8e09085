"""A fault of our own: a number for the user, the whole of it in the log, nothing of it on the page."""

from __future__ import annotations

import asyncio
import logging
import re

import httpx
import pytest
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from airproof.web.faults import reported
from airproof.web.guard import HEADERS, Guard
from airproof.web.pages import _nothing_here, _own_fault
from airproof.web.plain import door, not_there, plain

NUMBER = re.compile(r"number ([0-9a-f]{8})\.")


class TestReported:
    def test_the_number_told_is_the_one_in_the_log(self, caplog: pytest.LogCaptureFixture) -> None:
        said = reported(ValueError("secret <b>"))
        (number,) = NUMBER.findall(said)
        (record,) = caplog.records
        assert (record.name, record.levelno, record.getMessage()) == ("airproof.web", logging.ERROR, f"fault {number}")
        assert record.exc_info is not None
        assert str(record.exc_info[1]) == "secret <b>"
        assert "secret" not in said
        assert "ValueError" not in said

    def test_one_that_is_told_in_two_places_has_one_number(self, caplog: pytest.LogCaptureFixture) -> None:
        fault = ValueError("x")
        assert reported(fault) == reported(fault)
        assert len(caplog.records) == 1

    def test_no_two_have_the_same(self) -> None:
        assert len({reported(ValueError()) for _ in range(20)}) == 20


async def _fails(_: Request) -> Response:
    raise ZeroDivisionError("/home/of/somebody <script>")


async def _is_not_there(_: Request) -> Response:
    raise HTTPException(404, "job <b>7</b> is not there")


def asked(path: str) -> httpx.Response:
    app = Starlette(
        routes=[Route("/fails", _fails), Route("/job", _is_not_there)],
        middleware=[Middleware(Guard)],
        exception_handlers={500: _own_fault, 404: _nothing_here},
    )

    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
            return await client.get(path)

    return asyncio.run(go())


class TestPages:
    def test_a_fault_is_one_page_in_plain_words(self, caplog: pytest.LogCaptureFixture) -> None:
        answer = asked("/fails")
        assert answer.status_code == 500
        assert NUMBER.findall(answer.text)[0] in caplog.text
        assert not re.search(r"somebody|script|ZeroDivision|Traceback", answer.text)
        assert 'href="/"' in answer.text

    @pytest.mark.parametrize(("path", "status"), [("/fails", 500), ("/job", 404), ("/nowhere", 404)])
    def test_what_goes_wrong_has_the_headers_of_every_answer(self, path: str, status: int) -> None:
        answer = asked(path)
        assert answer.status_code == status
        assert {name: answer.headers[name] for name in HEADERS} == HEADERS

    def test_what_is_not_there_is_said_with_markup_as_text(self) -> None:
        assert "Job &lt;b&gt;7&lt;/b&gt; is not there" in asked("/job").text
        assert "Not Found" not in asked("/nowhere").text

    def test_all_that_was_said_is_text(self) -> None:
        evil = "<script>alert(1)</script>&\"'"
        for page in (plain(evil, evil, status=200, inside="<hr>"), door(evil), not_there(evil)):
            text = bytes(page.body).decode()
            assert "<script" not in text
            assert "&lt;script&gt;alert(1)&lt;/script&gt;&amp;&quot;&#x27;" in text
            assert text.startswith("<!doctype html>")

    def test_braces_in_what_was_said_are_braces(self) -> None:
        assert "{title} {0}" in bytes(plain("{0}", "{title} {0}", status=200, inside="").body).decode()
