"""Traces on a page, and the library of the browser's own that draws them: the small build of it, with lines alone."""

from __future__ import annotations

from typing import Any, Literal

from nicegui import ui
from nicegui.element import Element

LIBRARY = "/assets/plotly-basic.min.js?4.1.1"
"""Its address, with its version: a browser keeps what it has once fetched."""

Draws = Literal["here", "next"]


class Drawing(Element, component="assets/drawing.js"):
    """A figure as `report.trace.figure` makes it; says "looked" when somebody has zoomed in it."""

    def __init__(self, figure: dict[str, Any], described: str) -> None:
        super().__init__()
        self.classes("trace")
        self.props["library"] = LIBRARY
        self.props["role"] = "group"
        self.props["aria-label"] = described
        self.redraw(figure)

    def redraw(self, figure: dict[str, Any]) -> None:
        """Draw another figure in the place of this one."""
        self.props["figure"] = figure
        self.update()


def fetch_it(draws: Draws) -> None:
    """Have the browser fetch what draws traces: at once where they are drawn here, else while one reads this page."""
    ui.add_head_html(f'<link rel="{"modulepreload" if draws == "here" else "prefetch"}" href="{LIBRARY}">')


def set_it_up() -> None:
    """Have this browser set up what draws traces, while the server reads what is to be drawn."""
    ui.run_javascript(f"import({LIBRARY!r})")
