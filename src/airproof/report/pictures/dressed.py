"""A picture in the language and the units that its reader likes, whoever drew it.

Axes in kPa or degC get ticks at round numbers of the unit wished for; what is drawn stays where it is. Absolute
pressures are counted from the air outside where that is wished for, below it as negative gauge pressures, unless the
words of the picture keep them absolute. Words that no one has translated stay English.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import Formatter, FuncFormatter, MaxNLocator

from airproof.quantities.wishes import Wish, in_units
from airproof.quantities.wishes_in_sentences import from_the_air, numbers_in
from airproof.report.language.language import Language
from airproof.report.pictures.sheet import TITLE_COLUMNS, WIDE_IN, WIDE_TITLE_COLUMNS, Drawing
from airproof.report.wording import wrap

_UNIT = re.compile(
    r"(?P<words>.*?),?\s+(?P<unit>kPa absolute|kPa gauge|kPa|degC|K|%|mm|V|s|min:s|g/s|1/min)$", re.DOTALL
)
_LETTERS = re.compile(r"[^\W\d_]{2}")
_TICKS = 6
LONGEST_HEADING = 66  # signs of a row's heading; what is longer is broken
EXHIBIT = "Exhibit"


class _Converted(MaxNLocator):
    """Ticks at round numbers of another unit, as places on the axis."""

    def __init__(self, factor: float, offset: float, most: int) -> None:
        super().__init__(max(most, 2), steps=[1, 2, 2.5, 5, 10])
        self._factor, self._offset = factor, offset

    def tick_values(self, vmin: float, vmax: float) -> Sequence[float]:
        low, high = (self._factor * value + self._offset for value in (vmin, vmax))
        return [(value - self._offset) / self._factor for value in super().tick_values(low, high)]


def dressed(drawing: Drawing, language: Language, wish: Wish) -> Drawing:
    """The drawing with its words said and its axes counted so; to be called and saved within sheet.style()."""
    if wish.barometer_kpa is None or any(map(_stays_absolute, (drawing.title, drawing.caption, drawing.alt))):
        wish = Wish(wish.pressure, wish.temperature)
    if language.code == "en" and wish.plain:
        return drawing

    def say(text: str) -> str:
        lines = text.split("\n")
        said = language.words(" ".join(lines), wish).text
        if text.startswith(EXHIBIT):  # the foot, whose rest is the name of a file
            said = language.say(EXHIBIT) + text.removeprefix(EXHIBIT)
        return said if len(lines) == 1 else _broken(said, len(lines))

    figure = drawing.figure
    _axes(figure, language, wish, say)
    top = getattr(figure, "_suptitle", None)
    if isinstance(top, Text):
        columns = WIDE_TITLE_COLUMNS if tuple(figure.get_size_inches()) == WIDE_IN else TITLE_COLUMNS
        top.set_text("\n".join(wrap(say(drawing.title), columns)))
    return replace(drawing, title=say(drawing.title), caption=say(drawing.caption), alt=say(drawing.alt), figure=figure)


def _stays_absolute(text: str) -> bool:
    """Whether it speaks of an absolute pressure that is not counted from the air outside."""
    return "kPa absolute" in text and from_the_air(text, numbers_in(text)) is None


def _broken(text: str, lines: int) -> str:
    """The text in about so many lines of about one length."""
    return "\n".join(wrap(text, max(len(text) // lines + 4, *map(len, text.split()))))


def _axes(figure: Figure, language: Language, wish: Wish, say: Callable[[str], str]) -> None:
    done: set[int] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            ticks = axis.get_major_ticks() + axis.get_minor_ticks()  # as they are: what they say is set when drawn
            done |= {id(text) for tick in ticks for text in (tick.label1, tick.label2)}
            # A row's heading stands for the label of the axis that has ticks and no label of its own.
            bare = (axis is axes.yaxis) == (len(axes.get_yticks()) > 0)
            label = axis.label.get_text() or (axes.get_title("left") if bare else "")
            _ticks(axis, label, language, wish, say)
    title = getattr(figure, "_suptitle", None)  # said as a whole, and broken anew
    for text in figure.findobj(Text):
        if isinstance(text, Text) and text is not title and text.get_text().strip() and id(text) not in done:
            said = _label(text.get_text(), language, wish, say)
            text.set_text(said if len(said) <= LONGEST_HEADING or "\n" in said else _broken(said, 2))


def _label(text: str, language: Language, wish: Wish, say: Callable[[str], str]) -> str:
    """ "manifold pressure, kPa absolute" with its unit as wished; any other text as it is said."""
    found = _UNIT.fullmatch(text)
    if found is None or re.search(r"\d", text):
        return say(text)
    words = say(" ".join(found["words"].split()).rstrip(","))
    unit = language.unit(_line(found["unit"], wish)[2])
    between = ",\n" if "\n" in text else ", "
    return f"{words}{between}{unit}" if words else unit


def _ticks(axis: Axis, label: str, language: Language, wish: Wish, say: Callable[[str], str]) -> None:
    found = _UNIT.fullmatch(label)
    unit = found["unit"] if found else ""
    factor, offset, other = _line(unit, wish)
    if other == unit:
        axis.set_major_formatter(_Local(axis.get_major_formatter(), language, say))
        return
    axis.set_major_locator(_Converted(factor, offset, min(len(axis.get_ticklocs()), _TICKS)))
    axis.set_major_formatter(FuncFormatter(lambda value, _: _local(f"{factor * value + offset:.6g}", language)))


class _Local(Formatter):
    """What another formatter writes, with the language's own decimal sign and words."""

    def __init__(self, inner: Formatter, language: Language, say: Callable[[str], str]) -> None:
        self._inner, self._language, self._say = inner, language, say

    def __call__(self, x: float, pos: int | None = None) -> str:
        text = self._inner(x, pos)
        return self._say(text) if _LETTERS.search(text) else _local(text, self._language)

    def set_axis(self, axis: Any) -> None:
        self._inner.set_axis(axis)

    def set_locs(self, locs: Any) -> None:
        self._inner.set_locs(locs)

    def get_offset(self) -> str:
        return self._inner.get_offset()


def _local(text: str, language: Language) -> str:
    return re.sub(r"(?<=\d)\.(?=\d)", language.decimal, text)


def _line(unit: str, wish: Wish) -> tuple[float, float, str]:
    """Factor and offset from a unit to the one wished for, and its name."""
    numbers, other = in_units(np.array([0.0, 1.0, np.inf]), unit, wish)  # an axis goes on above the air outside
    zero, one, _ = np.ravel(numbers)
    return float(one - zero), float(zero), other
