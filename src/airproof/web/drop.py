"""A place to give files: dropped, or chosen; with progress, and a button that stops."""

from __future__ import annotations

from collections.abc import Mapping

from nicegui import ui

from airproof.web.marks import Mark, choice, new_key


def drop(to: str, text: str, *, accept: str = "", roles: Mapping[str, str] | None = None) -> None:
    """Files are sent to the address `to`, one after the other; `roles` are what a file can be there as."""
    key = new_key("drop")
    with Mark("div", id=key, classes="drop", data_to=to, data_page=ui.context.client.id):
        if roles:
            choice(
                "What it is", "role", roles, hint="A file that is here as something else is given again as what it is."
            )
        with Mark("div", classes="field"):
            Mark("label", f"{text}, or drop it here", for_=f"{key}-file")
            Mark("input", id=f"{key}-file", type="file", multiple=True, accept=accept or None)
        Mark("progress", max=1, value=0, hidden=True, aria_label="How much has been sent")
        Mark("button", "Stop", type="button", hidden=True, data_stop="", classes="quiet small")
        Mark("p", role="status", data_said="")
