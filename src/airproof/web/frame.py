"""The frame around every page: where one is, where else one can go, and what is said aloud when something changes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager

from nicegui import ui

from airproof import __version__
from airproof.web.bench import Bench
from airproof.web.drawing import Draws, fetch_it
from airproof.web.marks import Mark, link, say

PLACES = (("/", "Jobs"), ("/rehearse", "Rehearse"), ("/settings", "Settings"))


@contextmanager
def page(bench: Bench, title: str, here: str = "", draws: Draws | None = None) -> Iterator[None]:
    """A page with that title; `here` is the address of the place it belongs to.

    `draws` says that traces are drawn on it, or on a page that one opens from it: what draws them is large, and the
    browser gets it ready while the server still reads the recording, or while one reads this page.
    """
    ui.page_title(f"{title} - Airproof")
    look = bench.settings.look.replace(" ", "-")
    ui.add_head_html(f'<link rel="stylesheet" href="/assets/airproof.css?{__version__}">')
    ui.add_head_html(f'<script defer src="/assets/airproof.js?{__version__}"></script>')
    if draws is not None:
        fetch_it(draws)
    ui.query("body").classes(f"look-{look}")
    ui.query(".q-page").props("role=none")  # the library's own frame is no landmark: ours is
    link("To the page itself", "#page", classes="skip")
    with Mark("header", classes="top"), Mark("nav", aria_label="Places"):
        for address, name in PLACES:
            link(name, address, aria_current="page" if address == here else None)
    with Mark("main", id="page", tabindex="-1"):
        if bench.trouble:
            say(bench.trouble, "wrong", role="alert")
        yield
    with Mark("footer"):
        say(
            f"Airproof {__version__}. Everything stays on this computer. The maker's service data, local codes and "
            "licensed practice come first."
        )
    Mark("p", id="aloud", role="status", aria_live="polite", classes="aloud")
    Mark("p", id="heard", role="status", aria_live="polite", classes="heard")


def hear(text: str) -> None:
    """Say something that is to be seen on the page anyway, for those who only hear it."""
    ui.run_javascript(f"airproof.hear({json.dumps(text)})")


async def is_dark(bench: Bench) -> bool:
    """Whether this browser shows the page dark: what is drawn here and not there must know."""
    if bench.settings.look != "as the system":
        return bench.settings.look == "dark"
    try:
        return bool(await ui.run_javascript("return matchMedia('(prefers-color-scheme: dark)').matches"))
    except TimeoutError:  # it has gone
        return False


def aloud(text: str) -> None:
    """Say something that has changed, for those who see it and those who hear it; it passes by itself."""
    ui.run_javascript(f"airproof.aloud({json.dumps(text)})")
