"""Reading what people write in TOML files: one door, and every fault of theirs in their own words.

Engine profiles, readings, prices and maps of signals are all read here, so that they fail alike; closed jobs may be
JSON as well.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import NoneType
from typing import Any, TypeVar

import tomli
from pydantic import BaseModel, ValidationError

from airproof.errors import UnusableFile

Model = TypeVar("Model", bound=BaseModel)

MOST_FAULTS = 3
_COMMA = re.compile(r"(?<![\w.,\"'])([+-]?\d+),(\d+)(?![\w.,\"'])")

# What was wanted, by the kind of fault pydantic reports; the first part of its name stands for the type.
_WANTED_TYPES = {
    "float": "a number without its unit",
    "int": "a whole number",
    "string": "text in quotes",
    "bool": "true or false",
    "list": "a list of tables, headed by double brackets",
    "tuple": "a list",
    "dict": "a table",
    "model": "a table",
    "finite": "a number",
}
_SHAPES = ("model_type", "model_attributes_type", "dict_type")
_SAID: Mapping[type, str] = {list: "a list", str: "a text", int: "a number", float: "a number", NoneType: "nothing"}


def load_toml(path: Path, model: type[Model], *, wanted: str, way_out: str) -> Model:
    """The file at `path` as `model`.

    Raises UnusableFile: no such file, not text, not TOML, or a key that is unknown, missing or cannot be.
    """
    where = str(path)
    text = text_of(path, wanted=wanted)
    try:
        table = tomli.loads(text)
    except (tomli.TOMLDecodeError, RecursionError) as fault:
        raise UnusableFile(
            f"is not TOML ({_decimal_comma(text, str(fault)) or fault})", wanted, way_out, where=where
        ) from fault
    return checked(table, model, wanted=wanted, way_out=way_out, where=where)


def _decimal_comma(text: str, fault: str) -> str:
    """What is wrong, where it is a number with a comma on the line of the fault; "" where it is something else."""
    line = re.search(r"at line (\d+)", fault)
    found = None if line is None else _COMMA.search(text.splitlines()[int(line[1]) - 1])
    if line is None or found is None:
        return ""
    return f"line {line[1]}: {found[0]} has a comma, where numbers have a point: {found[1]}.{found[2]}"


def load_json(path: Path, model: type[Model], *, wanted: str, way_out: str) -> Model:
    """The same for a file of JSON."""
    where = str(path)
    text = text_of(path, wanted=wanted)
    try:
        table = json.loads(text)
    except (json.JSONDecodeError, RecursionError) as fault:
        raise UnusableFile(f"is not JSON ({fault})", wanted, way_out, where=where) from fault
    return checked(table, model, wanted=wanted, way_out=way_out, where=where)


def text_of(path: Path, *, wanted: str) -> str:
    """The text of a file.

    Raises UnusableFile: no such file, or not text.
    """
    where = str(path)
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        found = f"cannot be read ({fault.strerror or fault})"
        raise UnusableFile(found, wanted, "Check the path.", where=where) from fault
    except UnicodeDecodeError as fault:
        raise UnusableFile("is not text in UTF-8", wanted, "Save it as UTF-8 text.", where=where) from fault


def checked(table: object, model: type[Model], *, wanted: str, way_out: str, where: str) -> Model:
    """What was read, as `model`.

    Raises UnusableFile: a key that is unknown, missing or cannot be.
    """
    try:
        return model.model_validate(table)
    except ValidationError as fault:
        raise UnusableFile(in_words(fault), wanted, way_out, where=where) from fault


def in_words(error: ValidationError) -> str:
    """The first faults of a file, each with its key, what was given and what would do."""
    faults = error.errors(include_url=False)
    lines = [_fault(one["type"], one["loc"], one["input"], one.get("ctx", {}), one["msg"]) for one in faults]
    more = len(lines) - MOST_FAULTS
    return "; ".join(lines[:MOST_FAULTS]) + (f"; and {more} more" if more > 0 else "")


def _fault(kind: str, place: Sequence[int | str], given: object, context: Mapping[str, Any], message: str) -> str:
    key = _key(place)
    if not key and kind in _SHAPES:  # the whole of it
        return f"it holds {_SAID.get(type(given), 'one value')}, where {_WANTED_TYPES['model']} belongs"
    match kind:
        case "string_unicode":
            neither = f"neither in the terminal's encoding, {sys.getfilesystemencoding()}, nor in UTF-8"
            return f"{key} = {given!r} came as bytes that are no letters {neither} (set LC_ALL=C.UTF-8)"
        case "missing":
            return f"{key} is missing"
        case "extra_forbidden":
            return f"{key} is not a known key"
        case "greater_than_equal" | "less_than_equal" | "greater_than" | "less_than":
            bound = {"greater_than_equal": "at least", "less_than_equal": "at most", "greater_than": "more than"}
            limit = next(value for name, value in context.items() if name in ("ge", "le", "gt", "lt"))
            return f"{key} = {given!r}, where {bound.get(kind, 'less than')} {limit:g} can be"
        case "literal_error":
            return f"{key} = {given!r}, where {context['expected']} can be"
        case "value_error":
            return f"{key}: {context.get('error', message)}" if key else str(context.get("error", message))
        case "string_pattern_mismatch":
            return f"{key} = {given!r} is not written as it should be"
        case "string_too_short" | "too_short":
            return f"{key} is empty"
    wanted = _WANTED_TYPES.get(kind.split("_", maxsplit=1)[0])
    if wanted is None:
        return f"{key} = {given!r}: {message[:1].lower()}{message[1:]}"
    shown = f"{key} = {given!r}" if isinstance(given, (str, int, float)) else f"{key}"
    return f"{shown}, where {wanted} belongs"


def _key(place: Sequence[int | str]) -> str:
    """A key as it stands in the file; entries of a list are counted from 1."""
    key = ""
    for part in place:
        key += f" {part + 1}" if isinstance(part, int) else f".{part}" if key else part
    return key
