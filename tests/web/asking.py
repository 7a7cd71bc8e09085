"""A tiny application with the guard before it, and what anyone may ask of it, decently or not."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

import httpx
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import Message, Scope
from starlette.websockets import WebSocket

from airproof.web.guard import (
    Door,
    Guard,
)

HERE, THERE = "127.0.0.1", "192.168.1.20"
ORIGIN = "http://127.0.0.1:8765"


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


def knock(app: Starlette, code: str, client: str = THERE, **headers: str) -> httpx.Response:
    """Show a pass code at the door."""
    form = {"content_type": "application/x-www-form-urlencoded", **headers}
    return ask(app, "POST", "/door", client=client, body=f"code={code}".encode(), **form)


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
