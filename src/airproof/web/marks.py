"""What a page is written with: plain HTML elements, so that keyboard, screen reader and print work by themselves.

Text is always text: nothing that was typed or came in a file becomes markup.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeAlias

from nicegui import ui
from nicegui.element import Element

from airproof.errors import AirproofError
from airproof.report.wording import for_a_page
from airproof.web.faults import reported

Values: TypeAlias = Mapping[str, list[str]]
"""What a form holds when it is sent: every value of each name."""

Act: TypeAlias = Callable[[Values], Awaitable[None] | None]

TWICE_S = 0.5
"""After a form was taken, the other press of two; the usual time of a double click."""

_FORM = """(e) => { e.preventDefault(); const all = {};
for (const [name, value] of new FormData(e.target, e.submitter)) (all[name] ??= []).push(String(value)); emit(all); }"""


class Mark(Element):
    """One HTML element with its text; attributes with `_` for `-` (`aria_label`), `for_` for `for`."""

    def __init__(self, tag: str, text: str = "", *, classes: str = "", **attributes: Any) -> None:
        super().__init__(tag)
        self._text = text
        if classes:
            self.classes(classes)
        for name, value in attributes.items():
            if value is not None and value is not False:
                self.props[name.rstrip("_").replace("_", "-") if name != "defaultValue" else name] = value

    def write(self, text: str) -> None:
        """Put another text in the place of this one."""
        if text != self._text:
            self._text = text
            self.update()


def heading(level: int, text: str, **attributes: Any) -> Mark:
    """A heading, 1 for the page's own."""
    return Mark(f"h{level}", text, **attributes)


def say(text: str, classes: str = "", **attributes: Any) -> Mark:
    """A paragraph."""
    return Mark("p", text, classes=classes, **attributes)


def lines(texts: Iterable[str], classes: str = "", *, ordered: bool = False) -> None:
    """A list of sentences; nothing where there are none, or only empty ones."""
    items = [text for text in texts if text]
    if items:
        with Mark("ol" if ordered else "ul", classes=classes):
            for text in items:
                Mark("li", text)


def link(text: str, to: str, classes: str = "", **attributes: Any) -> Mark:
    """A link to a page of ours."""
    return Mark("a", text, href=to, classes=classes, **attributes)


def button(
    text: str, act: Callable[[], Awaitable[None] | None], classes: str = "", *, once: bool = False, **attributes: Any
) -> Mark:
    """A button that does something, and says aloud what goes wrong in it; with `once`, two presses are meant as one."""
    made = Mark("button", text, type="button", classes=classes, **attributes)
    deaf_until = 0.0

    async def pressed() -> None:
        nonlocal deaf_until
        if once and time.monotonic() < deaf_until:
            return
        deaf_until = math.inf
        try:
            outcome = act()
            if outcome is not None:
                await outcome
        except AirproofError as fault:
            made.client.run_javascript(f"airproof.aloud({json.dumps(in_words(fault))})")
        except Exception as fault:  # the page lives on; the number leads to what is in the log
            made.client.run_javascript(f"airproof.aloud({json.dumps(reported(fault))})")
        finally:
            deaf_until = time.monotonic() + TWICE_S

    made.on("click", pressed, [])
    return made


def folded(summary: str, *, opened: bool = False, classes: str = "", **attributes: Any) -> Mark:
    """Something that is laid open by a press: `with folded("How"): ...`."""
    made = Mark("details", classes=classes, open=opened or None, **attributes)
    with made:
        Mark("summary", summary)
    return made


class FoldedLater(Mark):
    """As `folded`, its inside made when it is first opened: a page with much to say is there at once."""

    def __init__(self, summary: str, build: Callable[[], None], *, opened: bool = False, classes: str = "") -> None:
        super().__init__("details", classes=classes, open=opened or None)
        self._build, self._built = build, False
        with self:
            Mark("summary", summary)
            self._inside = Mark("div")
        self.on("toggle", self._open, [])
        if opened:
            self._open()

    def _open(self) -> None:
        if not self._built:
            self._built = True
            with self._inside:
                self._build()

    def fold(self) -> None:
        """Fold it again; what is inside is made anew when it is next opened."""
        self._inside.clear()
        self._built = False
        self.client.run_javascript(f"airproof.fold(getHtmlElement({self.id}))")


def folded_later(summary: str, build: Callable[[], None], classes: str = "") -> FoldedLater:
    """Something that is made when it is laid open."""
    return FoldedLater(summary, build, classes=classes)


def folded_form(summary: str, act: Act, fields: Callable[[], None], send: str, *, opened: bool = False) -> FoldedLater:
    """A form that is laid open when somebody has something to say, and folds when that was taken."""

    async def carry_out(values: Values) -> None:
        outcome = act(values)
        if outcome is not None:
            await outcome
        made.fold()

    def build() -> None:
        with Form(carry_out, send=send):
            fields()

    made = FoldedLater(summary, build, opened=opened)
    return made


class AtField(AirproofError):
    """What went wrong with one field of a form; `field` is its name."""

    def __init__(self, fault: AirproofError, field: str) -> None:
        super().__init__(fault.given, fault.wanted, fault.way_out)
        self.field = field


@contextmanager
def at_field(name: str) -> Iterator[None]:
    """What goes wrong within is told at the field of that name."""
    try:
        yield
    except AtField:
        raise
    except AirproofError as fault:
        raise AtField(fault, name) from fault


@dataclass(frozen=True)
class Labelled:
    """A field with its label, and the place beside it where it is said what is wrong with it."""

    label: str
    key: str
    taken: Mark
    wrong: Mark

    def say(self, text: str) -> None:
        """Say what is wrong, for eyes and ears; nothing where `text` is empty."""
        if text == self.wrong._text:
            return
        self.wrong.write(text)
        self.taken.props["aria-invalid"] = "true" if text else "false"
        self.taken.update()


class Form(Mark):
    """A form: sent with Enter or its button, read whole when it is sent. What goes wrong is said within it, and where
    that is one field's fault at the field.
    """

    def __init__(self, act: Act, *, send: str = "", classes: str = "", **attributes: Any) -> None:
        super().__init__("form", classes=classes, autocomplete="off", **attributes)
        self._act, self._send = act, send
        self.fields: dict[str, Labelled] = {}
        self._deaf_until = 0.0
        self.on("submit", self._sent, js_handler=_FORM)

    def __exit__(self, *fault: object) -> None:
        if self._send:
            Mark("button", self._send, type="submit")
            self._send = ""
        self._said = Mark("p", role="alert", classes="wrong")
        super().__exit__(*fault)

    def tell(self, text: str) -> None:
        """Say something within the form, at once and aloud."""
        self._said.write(text)

    def tell_at(self, fault: AtField) -> None:
        """Say what is wrong with a field, at the field, and lead there."""
        told, field = in_words(fault), self.fields.get(fault.field)
        self.tell(told if field is None else f"{field.label}: {told}")
        if field is not None:
            field.say(told)
            self.client.run_javascript(f"airproof.lead({json.dumps(field.key)})")

    async def _sent(self, event: Any) -> None:
        if time.monotonic() < self._deaf_until:  # pressed twice, meant once
            return
        values = event.args if isinstance(event.args, dict) else {}
        self._deaf_until = math.inf
        self.tell("")
        for field in self.fields.values():
            field.say("")
        try:
            outcome = self._act(values)
            if outcome is not None:
                await outcome
            self._deaf_until = time.monotonic() + TWICE_S
        except AtField as fault:
            self._deaf_until = 0.0
            self.tell_at(fault)
        except AirproofError as fault:
            self._deaf_until = 0.0
            self.tell(in_words(fault))
        except Exception as fault:  # the page lives on; the number leads to what is in the log
            self._deaf_until = 0.0
            self.tell(reported(fault))


def in_words(fault: AirproofError) -> str:
    """An error of ours as a person reads it on a page."""
    where = f"{fault.where}: " if fault.where and not fault.where.startswith("--") else ""  # an option of a command
    return for_a_page(f"{where}{fault.given}. Wanted: {fault.wanted}. {fault.way_out}")


def one(values: Values, name: str) -> str:
    """The one value of a field, without blanks around it."""
    return str((values.get(name) or [""])[0]).strip()


def field(
    label: str, name: str, value: str = "", *, hint: str = "", kind: str = "text", long: bool = False, **attributes: Any
) -> Mark:
    """A labelled field; `hint` says below it what is wanted."""
    key = new_key(name)
    with Mark("div", classes="field"):
        Mark("label", label, for_=key)
        told = {"aria_describedby": f"{key}-wrong {key}-hint" if hint else f"{key}-wrong"}
        # The value as it was first: what is typed belongs to the browser until the form is sent.
        if long:
            made = Mark("textarea", id=key, name=name, rows=4, defaultValue=value, **told, **attributes)
        else:
            made = Mark("input", id=key, name=name, type=kind, defaultValue=value, **told, **attributes)
        _in_a_form(name, Labelled(label, key, made, Mark("small", id=f"{key}-wrong", classes="wrong")))
        if hint:
            Mark("small", hint, id=f"{key}-hint")
    return made


def _in_a_form(name: str, field: Labelled) -> None:
    """Let the form around the field know it, if there is one."""
    around: Element | None = field.taken
    while around is not None and not isinstance(around, Form):
        around = None if around.parent_slot is None else around.parent_slot.parent
    if around is not None:
        around.fields[name] = field


def choice(label: str, name: str, options: Mapping[str, str], chosen: str = "", *, hint: str = "") -> Mark:
    """One of several: value and what it is called."""
    key = new_key(name)
    with Mark("div", classes="field"):
        Mark("label", label, for_=key)
        told = f"{key}-wrong {key}-hint" if hint else f"{key}-wrong"
        with Mark("select", id=key, name=name, aria_describedby=told) as made:
            for value, text in options.items():
                Mark("option", text, value=value, selected=value == chosen)
        _in_a_form(name, Labelled(label, key, made, Mark("small", id=f"{key}-wrong", classes="wrong")))
        if hint:
            Mark("small", hint, id=f"{key}-hint")
    return made


def ticks(legend: str, name: str, options: Mapping[str, str], ticked: Sequence[str] = ()) -> None:
    """Any of several, each with a box to tick."""
    with Mark("fieldset"):
        Mark("legend", legend)
        for value, text in options.items():
            with Mark("label", classes="tick"):
                Mark("input", type="checkbox", name=name, value=value, checked=value in ticked)
                Mark("span", text)


def picks(legend: str, name: str, options: Mapping[str, str], chosen: str = "") -> None:
    """One of several, all in sight."""
    with Mark("fieldset"):
        Mark("legend", legend)
        for value, text in options.items():
            with Mark("label", classes="tick"):
                Mark("input", type="radio", name=name, value=value, checked=value == chosen, required=True)
                Mark("span", text)


def new_key(name: str) -> str:
    """An id that no other element of this page has; without blanks, since one says by ids what describes what."""
    return f"{name.replace(' ', '-')}-{ui.context.client.next_element_id}"
