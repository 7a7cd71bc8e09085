"""Pages that must work when nothing else does: the door, and what went wrong."""

from __future__ import annotations

import html

from starlette.responses import HTMLResponse

_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title} - Airproof</title>
<link rel="stylesheet" href="/assets/airproof.css">
</head>
<body class="look-as-the-system">
<main id="page">
<h1>{title}</h1>
{inside}
</main>
</body>
</html>
"""


def plain(title: str, *paragraphs: str, status: int, inside: str = "") -> HTMLResponse:
    """A page of plain paragraphs; `inside` is markup of our own, never data."""
    text = "\n".join(f"<p>{html.escape(one)}</p>" for one in paragraphs if one)
    return HTMLResponse(_PAGE.format(title=html.escape(title), inside=f"{text}\n{inside}"), status_code=status)


_DOOR = """<form method="post" action="/door">
<div class="field"><label for="code">Pass code</label>
<input id="code" name="code" inputmode="numeric" autocomplete="off" autofocus required></div>
<button type="submit">Come in</button>
</form>"""


def door(said: str = "", status: int = 401) -> HTMLResponse:
    """Where the pass code is asked for."""
    where = "The pass code stands in the window in which Airproof was started, on the computer that holds the jobs."
    return plain("Who is there?", said, where, status=status, inside=_DOOR)


ALL_JOBS = '<p><a class="press" href="/">All jobs</a></p>'


def not_there(what: str) -> HTMLResponse:
    """For an address that leads nowhere."""
    told = (
        what[:1].upper() + what[1:] or "No page has this address: what it led to may be gone, or it was typed wrongly."
    )
    return plain("Nothing here", told, status=404, inside=ALL_JOBS)
