"""Opening the pages: one server for one bench, on this computer only unless it is asked to share."""

from __future__ import annotations

import errno
import ipaddress
import logging
import secrets
import socket
import sys
import threading
import webbrowser
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from airproof.errors import UnusableRequest

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from airproof.web.bench import Bench

HOST, PORT = "127.0.0.1", 8765
ANYWHERE = ("0.0.0.0", "::")
PORTS_TRIED = 20
TURN_S = 0.0005  # a tenth of the usual; judged: Airproof authors, by benchmarks/bench_pages.py


@dataclass(frozen=True)
class Asked:
    """How the pages are to be served; `port` None: the usual one, or the next that is free."""

    host: str = HOST
    port: int | None = None
    share: bool = False
    folder: Path | None = None
    author: str = ""
    first: str = "/"
    show: bool = False


@dataclass(frozen=True)
class Open:
    """Where the pages are: the address, and the pass code where they are shared."""

    address: str
    code: str | None


def serve(asked: Asked, tell: object) -> None:
    """Serve the pages until the process is stopped; `tell(Open)` is called once they can be opened.

    Raises UnusableRequest for a host or port that cannot be had, and as `open_store`.
    """
    import uvicorn
    from nicegui import app

    from airproof.web.bench import Bench
    from airproof.web.guard import new_code

    host = asked.host if not asked.share or asked.host != HOST else ANYWHERE[0]
    if not asked.share and not _this_computer(host):
        raise UnusableRequest(
            f"--host {host} without --share", "127.0.0.1, or --share", "With --share a pass code is asked for."
        )
    with _listening(host, asked.port) as way_in:
        # Weighing and drawing share the interpreter with the pages: a page must not wait its turn behind them for long.
        sys.setswitchinterval(TURN_S)
        logging.getLogger("nicegui").setLevel(logging.ERROR)
        bench = Bench(asked.folder, asked.author)
        code = new_code() if asked.share else None
        name = _own_address() if host in ANYWHERE else host
        port = way_in.getsockname()[1]
        where = Open(f"http://{f'[{name}]' if ':' in name else name}:{port}{asked.first}", code)

        def ready() -> None:
            tell(where)  # type: ignore[operator]
            if asked.show:
                local = where.address.replace(name, HOST) if host in ANYWHERE else where.address
                threading.Thread(target=webbrowser.open, args=(local,), daemon=True).start()
            threading.Thread(target=_warm_up, daemon=True).start()

        app.on_startup(ready)
        app.on_shutdown(bench.close)
        how = uvicorn.Config(
            _guarded_pages(bench, code),
            log_level="warning",
            ws="wsproto",
            timeout_graceful_shutdown=3,
            ws_max_size=4 * 2**20,
            server_header=False,
        )
        uvicorn.Server(how).run(sockets=[way_in])


def _guarded_pages(bench: Bench, code: str | None) -> ASGIApp:
    """The pages of a bench behind the guard, which nothing comes past."""
    from fastapi import FastAPI
    from nicegui import ui

    from airproof.web.guard import Door, Guard
    from airproof.web.pages import lay_out, roomy

    lay_out(bench)
    house = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    ui.run_with(
        house,
        title="Airproof",
        language="en-US",
        tailwind=False,
        show_welcome_message=False,
        storage_secret=secrets.token_hex(32),
        favicon=Path(__file__).parent / "assets" / "mark.svg",
        binding_refresh_interval=None,
        reconnect_timeout=60.0,
    )
    house.add_middleware(Guard, door=None if code is None else Door(code), roomy=roomy)
    return house


def _listening(host: str, asked: int | None) -> socket.socket:
    """What the pages are served through: it listens from now on, so that nobody else can take its port."""
    tried = [asked] if asked is not None else list(range(PORT, PORT + PORTS_TRIED))
    trouble = ""
    for port in tried:
        try:
            return socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET)
        except OSError as fault:
            said = str(fault.strerror or fault).partition(" (while")[0]
            trouble = "another program has it" if fault.errno == errno.EADDRINUSE else said
    way_out = "Name another with --port, or stop the program that has it."
    raise UnusableRequest(f"port {tried[0]} of {host} cannot be used ({trouble})", "a free port", way_out)


def _this_computer(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:  # a name: whose, somebody else may decide
        return host == "localhost"


def _own_address() -> str:
    """The address under which others in the same network reach this computer: no packet is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        try:
            one.connect(("192.0.2.1", 9))  # RFC 5737: an address for examples
            return str(one.getsockname()[0])
        except OSError:
            return HOST


def _warm_up() -> None:
    """Load what weighs and draws before it is asked for."""
    import airproof.jobs.weighing
    import airproof.report.exhibits
    import airproof.report.pictures.pressure  # noqa: F401
