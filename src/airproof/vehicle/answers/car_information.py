"""Information on the car: service 09, and F8xx of service 22.

On CAN the data begin with the number of entries; with service 22, and without CAN, they may not (from memory of SAE
J1979 and J1979-2), so the length tells. What each number carries stands in data/car_information.toml.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Annotated, Literal

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import BrokenKnowledge, UnusableRequest
from airproof.toml_files import in_words
from airproof.vehicle.answers.payload import ANSWERED, as_hex, body_of, unreadable
from airproof.vehicle.items.bitmap import SPAN, items_announced
from airproof.vehicle.items.decode import Mode

CAR_INFORMATION = 0x09
VIN, CALIBRATION_IDS, CALIBRATION_NUMBERS, RATIOS_SPARK, NAME, RATIOS_COMPRESSION = 0x02, 0x04, 0x06, 0x08, 0x0A, 0x0B
BITMAP = 4
_DATA = "vehicle/answers/data/car_information.toml"
_PADDING = "\0\xff "
_WAY_OUT = "Ask again, or read it in the forgiving mode."


class Kind(BaseModel):
    """What one number of service 09 carries: entries of `length` bytes each, as text, hexadecimal or counters."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: Annotated[str, Field(min_length=1)]
    of: Literal["text", "hexadecimal", "counters"]
    length: Annotated[int, Field(ge=1, le=64)]
    names: tuple[str, ...] = ()
    standing: Literal["verified", "from memory"]
    source: Annotated[str, Field(min_length=1)]


@dataclass(frozen=True)
class CarInformation:
    """What one answer tells: texts (a VIN, calibration ids, verification numbers as hexadecimal) or counters by name.

    `announced` are the numbers that a bitmap announces. `assumed` says what was taken for granted.
    """

    number: int
    title: str
    texts: tuple[str, ...] = ()
    counters: Mapping[str, int] | None = None
    announced: frozenset[int] = frozenset()
    assumed: tuple[str, ...] = ()


@cache
def kinds() -> Mapping[int, Kind]:
    """What service 09 carries, by number."""
    raw = tomli.loads((files("airproof.vehicle.answers") / "data" / "car_information.toml").read_text("utf-8"))
    try:
        return {int(number, 16): Kind(**row) for number, row in raw["numbers"].items()}
    except ValidationError as fault:
        raise BrokenKnowledge(in_words(fault), "a row as the others", "Correct the row.", where=_DATA) from fault


def car_information_answer(number: int, entries: Sequence[str] | Mapping[str, int]) -> bytes:
    """The answer on CAN that carries texts (filled up with 00), hexadecimal numbers, or counters by name.

    Raises UnusableRequest for a text that is too long or no such text, and for a number that carries no such thing.
    """
    kind = kinds().get(number)
    if kind is None or (kind.of == "counters") != isinstance(entries, Mapping):
        raise UnusableRequest(f"number {number:02X} of service 09", "one of the table's", "Look into its table.")
    head = bytes([CAR_INFORMATION + ANSWERED, number])
    if isinstance(entries, Mapping):
        counts = (min(max(entries.get(name, 0), 0), 0xFFFF).to_bytes(2, "big") for name in kind.names)
        return head + bytes([len(kind.names)]) + b"".join(counts)
    try:
        data = [bytes.fromhex(one) if kind.of == "hexadecimal" else one.encode("ascii") for one in entries]
    except ValueError as fault:
        raise UnusableRequest(f"{entries!r}", f"{kind.of} for {kind.title}", "Look again.") from fault
    if any(len(one) > kind.length for one in data):
        raise UnusableRequest(f"{entries!r}", f"at most {kind.length} bytes for {kind.title}", "Shorten it.")
    return head + bytes([len(data)]) + b"".join(one.ljust(kind.length, b"\0") for one in data)


def bitmap_answer(base: int, bitmap: bytes) -> bytes:
    """The answer that announces what of service 09 there is."""
    return bytes([CAR_INFORMATION + ANSWERED, base]) + bitmap


def read_car_information(payload: bytes, mode: Mode = "strict") -> CarInformation:
    """What an answer of service 09 tells.

    Raises UnusableAnswer for another service, for no data, and in the strict mode for a length that does not fit, for
    letters that are none, and for a number that is not in the table.
    """
    wanted = "information on the car: 49, its number, the number of entries, and the entries"
    body = body_of(payload, CAR_INFORMATION, wanted)
    if len(body) < 2:
        raise unreadable(payload, wanted)
    return information_in(body[0], body[1:], mode)


def information_in(number: int, data: bytes, mode: Mode = "strict") -> CarInformation:
    """What the data behind a number of service 09, or behind F8xx in service 22, tell."""
    if number % SPAN == 0:
        counted = len(data) == 1 + BITMAP and data[0] == 1  # the same bitmap behind a byte that counts it
        announced, said = bitmap_in(number, data[1:] if counted else data, mode)
        return CarInformation(number, "what there is", announced=announced, assumed=said)
    kind = kinds().get(number)
    if kind is None:
        if mode == "strict":
            raise unreadable(data, "a number of the table", _WAY_OUT)
        unknown = f"number {number:02X} is not in the table: shown as it came"
        return CarInformation(number, f"number {number:02X}", (data.hex(" ").upper(),), assumed=(unknown,))
    if kind.of == "counters":
        return _counters(number, kind, data, mode)
    entries, assumed = _entries(kind, data, mode)
    if kind.of == "hexadecimal":
        return CarInformation(number, kind.title, tuple(one.hex().upper() for one in entries), assumed=tuple(assumed))
    texts = [_text(kind, one, mode, assumed) for one in entries]
    return CarInformation(number, kind.title, tuple(texts), assumed=tuple(assumed))


def bitmap_in(base: int, data: bytes, mode: Mode = "strict") -> tuple[frozenset[int], tuple[str, ...]]:
    """What a bitmap announces, and what was taken for granted; the strict mode refuses one that has not four bytes."""
    if len(data) == BITMAP:
        return items_announced(base, data), ()
    if mode == "strict":
        raise unreadable(data, f"a bitmap of {BITMAP} bytes", _WAY_OUT)
    return items_announced(base, data), (f"the bitmap {as_hex(data)} has {len(data)} bytes, not {BITMAP}",)


def _entries(kind: Kind, data: bytes, mode: Mode) -> tuple[list[bytes], list[str]]:
    """The entries in the data, the byte that counts them taken off where it is there."""
    said = []
    counted, over = divmod(len(data) - 1, kind.length)
    if over == 0 and data[0] == counted:
        data = data[1:]
    elif mode == "strict":
        raise unreadable(data, f"{kind.title}: a number of entries, and {kind.length} bytes each", _WAY_OUT)
    elif len(data) % kind.length == 0:
        said.append(f"{kind.title} came without a number of entries")
    else:
        said.append(
            f"{kind.title}: {as_hex(data)} is not made of entries of {kind.length} bytes; read as far as it goes"
        )
        data = data[1:]
    return [data[at : at + kind.length] for at in range(0, len(data), kind.length)], said


def _text(kind: Kind, entry: bytes, mode: Mode, assumed: list[str]) -> str:
    text = entry.decode("latin-1").strip(_PADDING).replace("\0", " ")
    if text.isascii() and text.isprintable():
        return text
    if mode == "strict":
        raise unreadable(entry, f"letters and digits for {kind.title}", _WAY_OUT)
    assumed.append(f"{kind.title}: {as_hex(entry)} holds what is no letter or digit, shown as ?")
    return "".join(sign if sign.isascii() and sign.isprintable() else "?" for sign in text)


def _counters(number: int, kind: Kind, data: bytes, mode: Mode) -> CarInformation:
    assumed = []
    if len(data) % 2 == 1 and len(data) == 1 + 2 * data[0]:
        data = data[1:]
    elif mode == "strict":
        raise unreadable(data, f"{kind.title}: the number of counters, and two bytes each", _WAY_OUT)
    else:
        assumed.append(f"{kind.title}: {as_hex(data)} does not begin with the number of its counters")
        data = data[len(data) % 2 :]
    counts = [int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data) - 1, 2)]
    if len(counts) > len(kind.names):
        assumed.append(f"{kind.title}: {len(counts) - len(kind.names)} counters more than the table has were left out")
    return CarInformation(
        number, kind.title, counters=dict(zip(kind.names, counts, strict=False)), assumed=tuple(assumed)
    )
