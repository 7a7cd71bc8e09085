"""What is typed of the car after a repair: codes with their status, monitors, warm-ups, days."""

from __future__ import annotations

import math
from collections.abc import Sequence

from airproof.errors import UnusableRequest
from airproof.knowledge.lookup import near, normal_code
from airproof.knowledge.model import Fuel, Knowledge

OF_A_REPAIR = {
    "": "done", "done": "done", "helped": "helped", "gone": "helped",
    "did-not-help": "did not help", "still-there": "did not help",
}  # fmt: skip
"""What came of a repair, as it is typed; "done" says nothing of the trouble."""

COULD_NOT = ("could-not", "not-done")
COMPLETE = {"complete": True, "ready": True, "incomplete": False, "not complete": False, "not ready": False}
FUELS: tuple[Fuel, ...] = ("petrol", "e10", "e85")
MOST_DAYS = 36500.0
MOST_AMOUNT = 1e6
MOST_COUNT = 65535  # of a count of two bytes


def codes_said(typed: Sequence[str], known: Knowledge) -> dict[str, str]:
    """Codes by id with their status, from "P0106" or "P0106=pending"; those not in our lists are kept.

    Raises UnusableRequest for what is no code, or no status.
    """
    found = {}
    for one in typed:
        name, _, status = (part.strip() for part in one.partition("="))
        said = status.lower() or "stored"
        if said not in known.statuses:
            raise UnusableRequest(f"{one!r}", f"one of {', '.join(known.statuses)} after =", "Leave it out if unsure.")
        found[normal_code(name, known)] = said
    return found


def monitors_said(typed: Sequence[str], known: Knowledge) -> dict[str, bool]:
    """Monitors by id, complete or not, from "catalyst=complete"; one that the car has not is left out.

    Raises UnusableRequest for a monitor or a state that is none.
    """
    found = {}
    for one in typed:
        name, _, state = (part.strip().lower() for part in one.partition("="))
        id_ = name.replace(" ", "-").replace("_", "-")
        if id_ not in known.monitors:
            raise UnusableRequest(f"{one!r}", "the name of a monitor", near(id_, known.monitors))
        if state == "not supported":
            continue
        if state not in COMPLETE:
            raise UnusableRequest(f"{one!r}", f"{id_}=complete or {id_}=incomplete", "Say which.")
        found[id_] = COMPLETE[state]
    return found


def count_of(option: str, typed: str | None) -> int | None:
    """A count as typed, or None. Raises UnusableRequest for anything else."""
    if typed is None:
        return None
    digits = typed.strip()
    if not (digits.isascii() and digits.isdigit() and int(digits[:9]) <= MOST_COUNT and len(digits) <= 9):
        wanted = f"a whole number from 0 to {MOST_COUNT}"
        raise UnusableRequest(f"{typed[:40]!r}", wanted, "As the car counts them.", where=option)
    return int(digits)


def days_of(option: str, typed: str | None) -> float:
    """Days as typed; 0 where nothing was. Raises UnusableRequest for anything else."""
    if typed is None:
        return 0.0
    try:
        days = float(typed.strip().replace(",", "."))
    except ValueError:
        days = math.nan
    if not 0.0 <= days <= MOST_DAYS:
        raise UnusableRequest(f"{typed[:40]!r}", "a number of days", "As --days 30.", where=option)
    return days


def amount_of(option: str, typed: str | None) -> float | None:
    """Minutes or money as typed, or None. Raises UnusableRequest for anything else."""
    if typed is None:
        return None
    try:
        amount = float(typed.strip().replace(",", "."))
    except ValueError:
        amount = math.nan
    if not 0.0 <= amount <= MOST_AMOUNT:
        raise UnusableRequest(f"{typed[:40]!r}", "a plain number", "Leave the unit out.", where=option)
    return amount


def fuel_said(option: str, typed: str | None) -> Fuel | None:
    """The fuel as typed, or None. Raises UnusableRequest for one that is not known, or no petrol."""
    if typed is None:
        return None
    for fuel in FUELS:
        if typed.strip().lower() == fuel:
            return fuel
    raise UnusableRequest(f"{typed[:40]!r}", f"one of {', '.join(FUELS)}", "As --fuel-after e10.", where=option)
