"""Faults in the command line itself, said in our words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, cast

import typer

from airproof.errors import UnusableRequest

UsageError: type[Exception] = cast("type[Exception]", typer.BadParameter.__bases__[0])
"""What Typer raises for any misuse; it has no public name of its own there."""


def in_our_words(fault: Any, arguments: Sequence[str] = ()) -> UnusableRequest:
    """One line for a fault that Typer found: which, where, and the way out; it does not always say where."""
    context = getattr(fault, "ctx", None)
    first = arguments[0] if arguments and not arguments[0].startswith("-") else ""
    command = context.command_path if context is not None else f"airproof {first}".strip()
    where = command.removeprefix("airproof").strip()
    help_ = f'"{command} --help" shows how it goes.'
    kind = type(fault).__name__
    if kind == "NoSuchOption":
        close = ", ".join(sorted(fault.possibilities or ()))
        meant = f"Did you mean {close}? " if close else ""
        return UnusableRequest(
            f"there is no option {fault.option_name}",
            f'an option of "{command}"',
            meant + help_,
            where=where,
        )
    if kind == "MissingParameter" and fault.param is not None:
        option = fault.param.opts[0]
        what = option if option.startswith("-") else (fault.param.metavar or option.upper()).rstrip(".")
        return UnusableRequest(f"{what} is missing", _wanted(fault.param), help_, where=where)
    text = fault.format_message().strip().rstrip(".")
    unknown = re.match(r"No such command '(?P<name>[^']*)'\.?(?P<rest>.*)", text)
    if unknown:
        near = re.findall(r"'([^']+)'", unknown["rest"])
        meant = f"Did you mean {' or '.join(near)}? " if near else ""
        commands = " or ".join(getattr(context.command, "commands", {})) if context is not None else ""
        return UnusableRequest(
            f"there is no command {unknown['name']!r}", commands or "a command", meant + help_, where=where
        )
    missing = re.match(r"Option '(?P<name>[^']+)' requires an argument", text)
    if missing:
        return UnusableRequest(f"{missing['name']} has nothing after it", "its value", help_, where=where)
    extra = re.match(r"Got unexpected extra argument\(?s?\)? \((?P<words>.*)\)", text)
    if extra:
        return UnusableRequest(
            f"{extra['words']!r} is one word too many", "only what the command takes", help_, where=where
        )
    return UnusableRequest(text[:1].lower() + text[1:], f'what "{command}" takes', help_, where=where)


def _wanted(parameter: Any) -> str:
    text = str(getattr(parameter, "help", "") or "").strip().rstrip(".")
    return text[:1].lower() + text[1:] if text else "a value"
