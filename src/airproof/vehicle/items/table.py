"""The table of data items as data/*.toml has it, checked once when it is first asked for.

Every number that a car can send is (code - zero) x times / over, the code being whole bytes or bits of one byte.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache, cached_property
from importlib.resources import files
from itertools import pairwise
from types import MappingProxyType
from typing import Annotated, Any, Literal, NamedTuple, Self

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from airproof.errors import BrokenKnowledge
from airproof.recording.signals import glossary
from airproof.recording.units_stated import StatedUnit
from airproof.toml_files import in_words

Standing = Literal["verified", "from memory", "disputed length"]
Text = Annotated[str, Field(min_length=1)]
Length = Annotated[int, Field(ge=1, le=26)]
Hex = Annotated[str, Field(pattern=r"^[0-9A-F]{2}$")]

DATA = "vehicle/items/data"
SINCE_CLEARED = (0x21, 0x30, 0x31, 0x4D, 0x4E)
"""Items that clearing codes sets to 0: distances, warm-ups and minutes since then (SAE J1979, from memory)."""

_BYTES = re.compile(r"[A-Z]{1,4}")
_BITS = re.compile(r"([A-Z])([0-7])(?:-([0-7]))?")


class Place(BaseModel):
    """Where a number stands: `count` bytes from byte `first` (A is 0), then `shift` bits down, `width` bits kept."""

    model_config = ConfigDict(frozen=True)

    first: int
    count: int
    shift: int
    width: int

    @property
    def end(self) -> int:
        """The byte after the last one."""
        return self.first + self.count

    @property
    def mask(self) -> int:
        """The bits it takes within its bytes."""
        return ((1 << self.width) - 1) << self.shift


def place_of(text: str) -> Place:
    """The place that "A", "BC", "A7" or "B6-4" names.

    Raises ValueError for anything else.
    """
    if _BYTES.fullmatch(text) and all(ord(b) - ord(a) == 1 for a, b in pairwise(text)):
        return Place(first=ord(text[0]) - ord("A"), count=len(text), shift=0, width=8 * len(text))
    bits = _BITS.fullmatch(text)
    if bits is None or int(bits[3] or bits[2]) > int(bits[2]):
        msg = f"{text!r} is no place such as A, BC, A7 or B6-4"
        raise ValueError(msg)
    high, low = int(bits[2]), int(bits[3] or bits[2])
    return Place(first=ord(bits[1]) - ord("A"), count=1, shift=low, width=high - low + 1)


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", ignored_types=(cached_property,))


class FullScale(_Row):
    """Another full scale that byte `at` of item `item` may state: (code - zero) x byte x times / over."""

    item: Hex
    at: str
    times: float = 1.0
    over: float = 1.0

    @property
    def number(self) -> int:
        """The number of the item that states it."""
        return int(self.item, 16)

    @cached_property
    def byte(self) -> int:
        """Which of its bytes, A being 0."""
        return place_of(self.at).first


class Value(_Row):
    """One value within an item: (code - zero) x times / over in `unit`.

    `signal` is the project's signal it gives, None where there is none. `unused` is a code, and `present` a bit
    cleared, that say there is no value: NaN. `means` gives the words for codes that are states; there are `more`
    codes than those, or no others can be.
    """

    at: str
    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    unit: Text
    signal: str | None = None
    zero: int = 0
    times: float = 1.0
    over: float = 1.0
    signed: bool = False
    unused: int | None = None
    present: str | None = None
    means: Mapping[int, Text] = {}
    more: bool = False
    full_scale: FullScale | None = None

    @model_validator(mode="before")
    @classmethod
    def _named_as_a_signal(cls, row: Any) -> Any:
        if isinstance(row, Mapping) and row.get("name") in glossary().signals:
            return {"signal": row["name"], **row}
        return row

    @model_validator(mode="after")
    def _sound(self) -> Self:
        place = self.place
        if self.present is not None and place_of(self.present).width != 1:
            msg = f"{self.present} is more than one bit"
            raise ValueError(msg)
        if any(not 0 <= code < 1 << place.width for code in (*self.means, self.unused or 0)):
            msg = f"{self.name}: a code that does not fit into {self.at}"
            raise ValueError(msg)
        if self.signal is not None:
            kind = glossary().signals.get(self.signal)
            if kind is None or not (self.unit == kind.unit or StatedUnit(self.unit).fits(kind)):
                msg = f"{self.name} in {self.unit} is no signal {self.signal}"
                raise ValueError(msg)
        return self

    @cached_property
    def place(self) -> Place:
        """Where its code stands."""
        return place_of(self.at)

    @cached_property
    def present_place(self) -> Place | None:
        """Where the bit stands that says it is there."""
        return None if self.present is None else place_of(self.present)

    @property
    def step(self) -> float:
        """From one code to the next at the usual full scale, in `unit`."""
        return self.times / self.over

    @property
    def lowest_code(self) -> int:
        """The lowest number its code can be."""
        return -(1 << (self.place.width - 1)) if self.signed else 0

    @property
    def highest_code(self) -> int:
        """The highest number its code can be that stands for a value."""
        highest = (1 << (self.place.width - int(self.signed))) - 1
        return highest - 1 if self.unused == highest else highest

    def in_words(self, value: float) -> str | None:
        """The words for a state; None where it is no state, or one that is not listed."""
        return self.means.get(int(value)) if self.means and value == value else None


class OneByOne(NamedTuple):
    """Place and scaling of one value as plain numbers, so that reading one answer alone is quick.

    It stands in bytes `first` to `end`, `shift` bits down, `mask` bits kept; above `highest` it is negative. There is
    none at the code `unused`, nor where the bits `present` of byte `present_at` are cleared.
    """

    name: str
    first: int
    end: int
    shift: int
    mask: int
    highest: int
    unused: int | None
    present_at: int
    present: int
    zero: int
    factor: float
    value: Value


class Item(_Row):
    """One data item: `number` in services 01 and 02; F400 more in service 22.

    `length` is what the standard says, `also` what lists or cars have besides. `rank` says which of several items that
    carry one signal is the better, 1 the best; `doubt` what is not sure about it.
    """

    number: Annotated[int, Field(ge=0, le=0xFF)]
    title: Text
    length: Length
    also: tuple[Length, ...] = ()
    values: Annotated[tuple[Value, ...], Field(min_length=1)]
    reserved: str = ""
    rank: Annotated[int, Field(ge=1)] = 1
    doubt: str = ""
    standing: Standing
    source: Text

    @property
    def id(self) -> str:
        """The number as people write it: "0C"."""
        return f"{self.number:02X}"

    @cached_property
    def lengths(self) -> tuple[int, ...]:
        """All lengths it may have, the standard's first."""
        return (self.length, *self.also)

    @cached_property
    def reserved_mask(self) -> tuple[int, ...]:
        """For each byte the bits that must be 0."""
        masks = [0] * self.length
        for place in map(place_of, self.reserved.split()):
            masks[place.first] |= place.mask
        return tuple(masks)

    @cached_property
    def one_by_one(self) -> tuple[OneByOne, ...]:
        """Its values, worked out once for reading answers one by one."""
        return tuple(map(_one_by_one, self.values))

    def value(self, name: str) -> Value:
        """The value of that name; KeyError where there is none."""
        for one in self.values:
            if one.name == name:
                return one
        raise KeyError(name)

    @model_validator(mode="after")
    def _sound(self) -> Self:
        longest = max(self.lengths)
        taken = [list(self.reserved_mask) + [0] * (longest - self.length)]
        names = set()
        for value in self.values:
            place = value.place
            if place.end > longest:
                msg = f"{value.name} stands beyond its {longest} bytes"
                raise ValueError(msg)
            bits = [place.mask] if place.count == 1 else [0xFF] * place.count
            for byte, mask in enumerate(bits, place.first):
                if taken[0][byte] & mask or value.name in names:
                    msg = f"{value.name} is there twice, or stands where something else does"
                    raise ValueError(msg)
                taken[0][byte] |= mask
            names.add(value.name)
        return self


def _one_by_one(value: Value) -> OneByOne:
    place, there = value.place, value.present_place
    mask = (1 << place.width) - 1
    return OneByOne(
        name=value.name,
        first=place.first,
        end=place.end,
        shift=place.shift,
        mask=mask,
        highest=value.highest_code if value.signed else mask,
        unused=value.unused,
        present_at=there.first if there else 0,
        present=there.mask if there else 0,
        zero=value.zero,
        factor=value.step,
        value=value,
    )


@cache
def items_table() -> Mapping[int, Item]:
    """All items by number, in order.

    Raises BrokenKnowledge naming the row that is at fault.
    """
    folder = files("airproof.vehicle.items") / "data"
    raw = {
        name.name: tomli.loads(name.read_text(encoding="utf-8"))
        for name in folder.iterdir()
        if name.name.endswith(".toml")
    }
    sources = raw.pop("sources.toml")["sources"]
    found: dict[int, Item] = {}
    for file, tables in sorted(raw.items()):
        for number, row in tables["items"].items():
            try:
                item = Item(number=int(number, 16), **row)
                item = item.model_copy(update={"source": sources[item.source]})
            except (ValidationError, ValueError, KeyError) as fault:
                why = in_words(fault) if isinstance(fault, ValidationError) else f"{fault} is unknown"
                raise BrokenKnowledge(
                    f"item {number}: {why}", "a row as sources.toml says", "Correct the row.", where=f"{DATA}/{file}"
                ) from fault
            found[item.number] = item
    stated = {value.full_scale.number for item in found.values() for value in item.values if value.full_scale}
    if not stated <= found.keys():
        raise BrokenKnowledge("a full scale stated by no item", "the item that states it", "Add it.", where=DATA)
    return MappingProxyType(dict(sorted(found.items())))


@cache
def items_carrying(signal: str) -> tuple[tuple[Item, Value], ...]:
    """The items that carry a signal and the value that does, the best first; none for a signal that no item carries."""
    found = [(item, value) for item in items_table().values() for value in item.values if value.signal == signal]
    return tuple(sorted(found, key=lambda pair: (pair[0].rank, pair[0].number)))
