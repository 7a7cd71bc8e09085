"""Live data and freeze frames: services 01 and 02, and their items by the newer service 22.

One answer can hold several items, each its number and then its data, with nothing that says how long the data are. The
table's lengths tell; where they are disputed, that reading is taken which fits the whole answer and, where the request
is known, holds only what was asked for.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from airproof.errors import UnusableRequest
from airproof.vehicle.answers.payload import ANSWERED, body_of, unreadable
from airproof.vehicle.items import items_table
from airproof.vehicle.items.decode import Mode

LIVE, FRAME, BY_IDENTIFIER = 0x01, 0x02, 0x22
LIVE_IDENTIFIERS = 0xF400
"""Item xx is F4xx in service 22 (SAE J1979-2, from memory; F470, F423 and F477 seen in use, laid out alike)."""

MOST_ITEMS = 6
"""Items that one request of service 01 may ask for on CAN (SAE J1979, from memory)."""


@dataclass(frozen=True)
class Items:
    """The items of one answer in their order: number and data bytes; `frame` is 0 but in freeze frames.

    `assumed` says what was taken for granted; empty in the strict mode.
    """

    parts: tuple[tuple[int, bytes], ...]
    frame: int = 0
    assumed: tuple[str, ...] = ()


def live_request(numbers: Sequence[int]) -> bytes:
    """The request for up to six items of live data at once.

    Raises UnusableRequest for none or more.
    """
    if not 1 <= len(numbers) <= MOST_ITEMS:
        raise UnusableRequest(f"{len(numbers)} items at once", f"1 to {MOST_ITEMS}", "Ask for them in turns.")
    return bytes([LIVE, *numbers])


def frame_request(number: int, frame: int = 0) -> bytes:
    """The request for one item of a freeze frame."""
    return bytes([FRAME, number, frame])


def identifier_request(numbers: Sequence[int]) -> bytes:
    """The request for items of live data by service 22."""
    return bytes([BY_IDENTIFIER]) + b"".join((LIVE_IDENTIFIERS + number).to_bytes(2, "big") for number in numbers)


def live_answer(parts: Iterable[tuple[int, bytes]]) -> bytes:
    """The answer that carries these items."""
    return bytes([LIVE + ANSWERED]) + b"".join(bytes([number]) + data for number, data in parts)


def frame_answer(parts: Iterable[tuple[int, bytes]], frame: int = 0) -> bytes:
    """The answer that carries these items of a freeze frame."""
    return bytes([FRAME + ANSWERED]) + b"".join(bytes([number, frame]) + data for number, data in parts)


def identifier_answer(parts: Iterable[tuple[int, bytes]]) -> bytes:
    """The answer of service 22 that carries these items."""
    identified = ((LIVE_IDENTIFIERS + number).to_bytes(2, "big") + data for number, data in parts)
    return bytes([BY_IDENTIFIER + ANSWERED]) + b"".join(identified)


def read_live(payload: bytes, asked: Collection[int] = (), mode: Mode = "strict") -> Items:
    """The items in an answer of service 01; `asked` are the numbers in the request, where it is known.

    Raises UnusableAnswer where it answers another service, holds no item, or, in the strict mode, cannot be told
    apart into items of the table's lengths.
    """
    body = body_of(payload, LIVE, "live data: 41, then items and their data")
    return _Splitter(payload, body, asked, mode, before=1, after=0).items()


def read_frame(payload: bytes, asked: Collection[int] = (), mode: Mode = "strict") -> Items:
    """The items in an answer of service 02, all of one frame; as read_live."""
    body = body_of(payload, FRAME, "a freeze frame: 42, then items, each with the frame's number and its data")
    return _Splitter(payload, body, asked, mode, before=1, after=1).items()


def read_identified(payload: bytes, asked: Collection[int] = (), mode: Mode = "strict") -> Items:
    """The items in an answer of service 22, where all identifiers in it are F4xx; as read_live."""
    body = body_of(payload, BY_IDENTIFIER, "data by identifiers: 62, then F4xx and its data")
    return _Splitter(payload, body, asked, mode, before=2, after=0).items()


def alone(items: Items) -> Items:
    """The answer to a question for one item, which has all the data; said where those are of no length it can have."""
    (number, data), *_ = items.parts
    item = items_table().get(number)
    if item is None or len(data) in item.lengths:
        return items
    said = f"item {item.id} ({item.title}) came with {len(data)} bytes, not {item.length}"
    return replace(items, assumed=(*items.assumed, said))


class _Splitter:
    """Takes one answer's body apart; `before` bytes are an item's number, `after` more the frame's."""

    def __init__(
        self, payload: bytes, body: bytes, asked: Collection[int], mode: Mode, *, before: int, after: int
    ) -> None:
        self.payload, self.body, self.asked, self.mode = payload, body, frozenset(asked), mode
        self.before, self.head = before, before + after

    def items(self) -> Items:
        body = self.body
        if len(body) <= self.head or self._number(0) is None:
            raise unreadable(self.payload, "at least one item with its data")
        frame = body[self.before] if self.head > self.before else 0
        assumed: list[str] = []
        # One item alone has all the data, whatever the table says: then its length is the decoder's matter.
        ends = [len(body)] if len(self.asked) == 1 else self._fitting()
        if ends is None:
            if self.mode == "strict":
                raise unreadable(
                    self.payload,
                    "items of the lengths the standard gives them",
                    "Ask for one item at a time, or read it in the forgiving mode.",
                )
            ends = self._greedy(assumed)
        parts, start = [], 0
        for end in ends:
            number = self._number(start)
            if number is not None:
                parts.append((number, body[start + self.head : end]))
            start = end
        return Items(tuple(parts), frame, tuple(assumed))

    def _number(self, start: int) -> int | None:
        """The item that may begin there; None where none does."""
        if start + self.head >= len(self.body):
            return None
        number = int.from_bytes(self.body[start : start + self.before], "big")
        if self.before == 2:
            number -= LIVE_IDENTIFIERS
        if not 0 <= number <= 0xFF or (self.asked and number not in self.asked):
            return None
        if self.head > self.before and self.body[start + self.before] != self.body[self.before]:
            return None  # another frame
        return number

    def _fitting(self) -> list[int] | None:
        """Where the items end, all lengths being the table's and nothing left over; None where that cannot be.

        The standard's lengths are tried before disputed ones. From each place the rest is tried once.
        """
        table, total = items_table(), len(self.body)
        ways: list[tuple[int, list[int]]] = []  # a start, and the ends that are still to be tried from it
        seen = set()

        def begin(start: int) -> None:
            seen.add(start)
            number = self._number(start)
            item = None if number is None else table.get(number)
            if item is None:
                ways.append((start, []))
                return
            lengths = item.lengths if self.mode == "forgiving" else item.lengths[:1]
            ways.append((start, [start + self.head + length for length in reversed(lengths)]))

        begin(0)
        while ways:
            ends = ways[-1][1]
            if not ends:
                ways.pop()
                continue
            end = ends.pop()
            if end == total:
                return [*(start for start, _ in ways[1:]), end]
            if end < total and end not in seen:
                begin(end)
        return None

    def _greedy(self, assumed: list[str]) -> list[int]:
        """Items one after the other as long as they fit, the rest belonging to the last one."""
        table, ends, start = items_table(), [], 0
        while (number := self._number(start)) is not None:
            item = table.get(number)
            end = len(self.body) if item is None else start + self.head + item.length
            if item is None and len(self.asked) > 1:
                assumed.append(f"item {number:02X} is not in the table: taken to have all the data that follow")
            if end >= len(self.body) or self._number(end) is None:
                break
            ends.append(end)
            start = end
        return [*ends, len(self.body)]
