"""Carrying out one `airproof serve`."""

from __future__ import annotations

from airproof.cli.job_request import Many, number, where
from airproof.cli.streams import say
from airproof.cli.typed import once, one_path
from airproof.errors import UnusableRequest
from airproof.jobs.prepared import open_prepared
from airproof.knowledge.load import knowledge
from airproof.web.serving import HOST, Asked, Open, serve

HIGHEST_PORT = 65535


def carry_out(host: Many, port: Many, data: Many, *, share: bool, show: bool, demo: Many) -> None:
    """Serve until stopped."""
    typed = once("--port", port)
    at, prepared, first = where(data, None, json=False), one_path("--demo", demo, "a folder"), "/"
    if prepared is not None:
        with at.store() as store:
            first = f"/job/{open_prepared(store, prepared, knowledge())}"
    asked = Asked(
        host=once("--host", host) or HOST,
        port=None if typed is None else _port(typed),
        share=share,
        folder=at.folder,
        author=at.author,
        first=first,
        show=show,
    )
    serve(asked, _tell)


def _port(typed: str) -> int:
    port = number("--port", typed)
    if not 1 <= port <= HIGHEST_PORT:
        raise UnusableRequest(typed, f"1 to {HIGHEST_PORT}", "Leave it out for a free one.", where="--port")
    return port


def _tell(where_: Open) -> None:
    say(f"The pages are open at {where_.address}")
    if where_.code is not None:
        say(f"Pass code: {where_.code}   (for all who come from another computer or phone)")
        say("Only share in a network you trust: what is said there can be read by others in it.")
    say("Ctrl-C closes them.")
