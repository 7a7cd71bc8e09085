"""What can go wrong, split by what the caller can do about it.

Every error says what was given, what was wanted, and the way out, in one line of the user's words.

| error | the caller can | for example |
|---|---|---|
| UnusableFile | give another file, or repair this one | a folder in place of a recording; no time column |
| UnknownHeadings | say what the columns are | a recording with headings of a language we lack |
| NoTimeColumn | say which column is the time, or the rate of the rows | a recording without time stamps |
| UnusableRequest | word the command or its options differently | an unknown code; an altitude against the barometer |
| UnusableQuantity | write the number and unit differently | "12 furlongs"; "18" where a unit is needed |
| UnusableAnswer | ask the car again, or read it in the forgiving mode | a data item with a byte too few |
| MissingExtra | install an optional part | an MDF file without the `mdf` extra |
| Unreachable | look at plug, key and adapter, and try again | the adapter was pulled out; no control unit answers |
| NotAllowed | leave it: it would change the car, or the time for it is wrong | clearing codes with the engine running |
| BrokenKnowledge | tell us: one of our own data files is at fault | a cause without a source |

"Cannot tell from this" is a normal outcome and never an error.
"""

from __future__ import annotations

from functools import partial


class AirproofError(Exception):
    """Base of all errors that Airproof raises on purpose; `exit_status` is what a command ends with."""

    exit_status = 2

    def __init__(self, given: str, wanted: str, way_out: str, *, where: str = "") -> None:
        self.where = where
        self.given = given
        self.wanted = wanted
        self.way_out = way_out
        super().__init__(str(self))

    def __reduce__(self) -> tuple[object, ...]:
        """So that an error of a worker process arrives whole."""
        return partial(type(self), where=self.where), (self.given, self.wanted, self.way_out)

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        text = f"{place}{self.given}; wanted: {self.wanted}. {self.way_out}"
        return " ".join(text.split())


class UnusableFile(AirproofError, ValueError):
    """A file cannot be read as what it should be."""


class UnknownHeadings(UnusableFile):
    """A recording whose `headings` mean too little: whoever knows what they are can say so."""

    def __init__(
        self, given: str, wanted: str, way_out: str, *, where: str = "", headings: tuple[str, ...] = ()
    ) -> None:
        super().__init__(given, wanted, way_out, where=where)
        self.headings = headings

    def __reduce__(self) -> tuple[object, ...]:
        return partial(type(self), where=self.where, headings=self.headings), (self.given, self.wanted, self.way_out)


class NoTimeColumn(UnknownHeadings):
    """A recording none of whose `headings` is a time: which one is, or the rate of the rows, is all that is asked."""


class UnusableRequest(AirproofError, ValueError):
    """The request contradicts itself, or names something that does not exist."""


class UnusableQuantity(AirproofError, ValueError):
    """A number with its unit could not be understood, or lies outside what is physically possible."""


class UnusableAnswer(AirproofError, ValueError):
    """What a control unit sent cannot be read as what it should be."""


class MissingExtra(AirproofError, ImportError):
    """An optional part is not installed."""


class Unreachable(AirproofError, ConnectionError):
    """The adapter or the car does not answer."""


class NotAllowed(AirproofError, PermissionError):
    """It would change the car, or what has to come first has not been done."""


class BrokenKnowledge(AirproofError, ValueError):
    """One of the project's own data files is at fault: ours to repair, not the user's."""

    exit_status = 1
