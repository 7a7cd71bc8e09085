"""Reading a whole car out, unit after unit."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from airproof.errors import Unreachable
from airproof.vehicle.link.finding import Found
from airproof.vehicle.link.questions import Link
from airproof.vehicle.readout import newer, older
from airproof.vehicle.readout.asking import Asking
from airproof.vehicle.readout.readout import Readout, UnitReadout


def read_out(link: Link, found: Found, told: Callable[[str], None] = lambda _: None) -> Readout:
    """Everything that all units of a car hold.

    Raises Unreachable where the adapter goes; what one unit does not answer leaves a gap in its readout.
    """
    units = []
    for unit in found.units:
        told(f"reading {unit.name}")
        into = UnitReadout(unit)
        asking = Asking(link, unit, into)
        (newer if unit.new_style else older).read_unit(asking, into)
        units.append(into)
    return Readout(tuple(units), datetime.now(UTC), found.remarks)


def read_again(link: Link, found: Found) -> Readout:
    """The same once more; an adapter that has gone meanwhile leaves a readout without units, and a remark."""
    try:
        return read_out(link, found)
    except Unreachable as fault:
        return Readout((), datetime.now(UTC), (f"the car could not be read again: {fault}",))
