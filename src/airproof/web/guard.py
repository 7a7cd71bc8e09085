"""Who may come in: the right host, the right origin, a pass code where the pages are shared, and no more than there is
room for.

A page that is only meant for this computer can be reached by any site that the same browser has open, under a name
that the site's owner points here, or by its forms. So a request must name this computer by an address of its own (no
name that somebody else can point), and what changes anything must come from one of our pages (OWASP Cheat Sheet Series,
Cross-Site Request Forgery Prevention, "Verifying Origin With Standard Headers", from memory).
"""

from __future__ import annotations

import ipaddress
import re
import secrets
import socket
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect, Request, cookie_parser
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from airproof.web.plain import door, plain

COOKIE = "airproof_in"
SAFE = ("GET", "HEAD", "OPTIONS")
LARGEST_BODY = 2 * 2**20
"""Bytes of a request that is no recording; judged: Airproof authors: a form and what the page's own line carries."""

TRIES, WITHIN_S = 5, 300.0
ALL_TRIES = 50
"""Wrong pass codes from one address, and from all, within that time; judged: Airproof authors: a million codes then
last for months, and a person who mistypes is let in."""

_LENGTH = re.compile(r"[0-9]{1,18}")

POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self'; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
"""What a page of ours may load: nothing from anywhere else. The frame's own scripts are written into the page."""

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def new_code() -> str:
    """A pass code that can be read out and typed with one thumb."""
    return f"{secrets.randbelow(10**6):06d}"


@dataclass
class Door:
    """The pass code, who has shown it, and who has tried too often."""

    code: str
    clock: Callable[[], float] = time.monotonic
    tokens: set[str] = field(default_factory=set)
    wrong: dict[str, deque[float]] = field(default_factory=dict)

    def let_in(self, code: str, address: str) -> str | None:
        """A token for the right code; None for a wrong one. Raises PermissionError after too many."""
        now = self.clock()
        for one, times in list(self.wrong.items()):
            while times and now - times[0] > WITHIN_S:
                times.popleft()
            if not times:
                del self.wrong[one]
        mine = self.wrong.get(address, deque())
        if len(mine) >= TRIES or sum(map(len, self.wrong.values())) >= ALL_TRIES:
            raise PermissionError
        if not secrets.compare_digest(code.strip().encode(), self.code.encode()):
            self.wrong.setdefault(address, deque()).append(now)
            return None
        token = secrets.token_hex(32)
        self.tokens.add(token)
        return token

    def knows(self, token: str) -> bool:
        """Whether that token was handed out here."""
        return any(secrets.compare_digest(token.encode(), one.encode()) for one in self.tokens)


@dataclass(frozen=True)
class Guard:
    """Stands before the whole application. `door` is None where the pages are for this computer only."""

    app: ASGIApp
    door: Door | None = None
    roomy: Callable[[str], bool] = lambda _: False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request through, or say why not."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is None and self.door is not None and scope["path"] == "/door" and scope.get("method") == "POST":
            refusal = await self._at_the_door(self.door, Request(scope, receive))
        if refusal is None:
            limit = None if scope["type"] == "websocket" or self.roomy(scope["path"]) else LARGEST_BODY
            await self.app(scope, _counted(receive, limit), _with_headers(send))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        else:
            await refusal(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        host = headers.get("host", "")
        if not ours(host, shared=self.door is not None):
            way_out = "Open the address that the window shows in which Airproof was started."
            return plain("Not this name", "Airproof does not answer under that name.", way_out, status=421)
        changes, origin = scope["type"] == "websocket" or scope["method"] not in SAFE, headers.get("origin")
        # Looking needs none; a foreign one belongs to a page elsewhere that wants to read what it is told.
        if (changes or origin is not None) and not same_origin(origin, host):
            return plain("Not from here", "That was not sent by a page of Airproof.", status=403)
        length = headers.get("content-length", "0")
        if not self.roomy(scope["path"]) and (not _LENGTH.fullmatch(length) or int(length) > LARGEST_BODY):
            return plain("Too much at once", f"At most {LARGEST_BODY // 2**20} MiB can be sent here.", status=413)
        if self.door is None or _is_loopback(scope) or scope["path"].startswith("/assets/"):
            return None
        if self.door.knows(cookie_parser(headers.get("cookie", "")).get(COOKIE, "")):
            return None
        return None if scope["path"] == "/door" and scope.get("method") == "POST" else door()

    async def _at_the_door(self, door_: Door, request: Request) -> Response:
        body = b""
        try:
            async for part in request.stream():
                body += part
                if len(body) > 1000:
                    return door("That is no pass code.", 400)
        except ClientDisconnect:  # nobody is there any more to be told anything
            return door("", 400)
        code = parse_qs(body.decode("ascii", "replace")).get("code", [""])[0]
        try:
            token = door_.let_in(code, request.client.host if request.client else "")
        except PermissionError:
            return door(f"Too many wrong pass codes. Wait {WITHIN_S / 60:.0f} minutes.", 429)
        if token is None:
            return door("That is not the pass code.", 403)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(COOKIE, token, httponly=True, samesite="strict", path="/")
        return answer


def ours(host: str, *, shared: bool) -> bool:
    """Whether a Host header names this computer in a way that nobody else can point elsewhere."""
    try:
        name = urlsplit(f"//{host}").hostname or ""
    except ValueError:  # brackets with no address in them
        return False
    if name == "localhost":
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        own = socket.gethostname().lower()
        return shared and name in (own, f"{own}.local", own.split(".")[0])
    return address.is_loopback or shared


def same_origin(origin: str | None, host: str) -> bool:
    """Whether an Origin header is that of the host asked; one that is missing is not."""
    if origin is None:
        return False
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    return parts.scheme in ("http", "https") and parts.netloc.lower() == host.lower()


def _is_loopback(scope: Scope) -> bool:
    client = scope.get("client")
    try:
        return client is not None and ipaddress.ip_address(client[0]).is_loopback
    except ValueError:
        return False


def _counted(receive: Receive, most: int | None) -> Receive:
    """The body, cut off with an error once it is larger than it may be, whatever its header said."""
    if most is None:
        return receive
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b"")) if message["type"] == "http.request" else 0
        if seen > most:
            return {"type": "http.disconnect"}
        return message

    return counted


def _with_headers(send: Send, headers: Mapping[str, str] = HEADERS) -> Send:
    async def dressed(message: Message) -> None:
        if message["type"] == "http.response.start":
            put = MutableHeaders(scope=message)
            for name, value in headers.items():
                put.setdefault(name, value)
        await send(message)

    return dressed
