"""The vehicle identification number, and what can be said of one.

Letters, length and check digit: 49 CFR 565.15 (United States). Many markets ask for no check digit, so a wrong one is a
reason to look again and never to refuse; a right one comes about by chance in 1 of 11.
"""

from __future__ import annotations

import re

LENGTH = 17
CHECK_PLACE = 8  # counted from 0: the ninth sign
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
VALUES = {str(digit): digit for digit in range(10)} | {
    "A": 1, "B": 2, "C": 3, "D": 4, "E": 5, "F": 6, "G": 7, "H": 8,
    "J": 1, "K": 2, "L": 3, "M": 4, "N": 5, "P": 7, "R": 9,
    "S": 2, "T": 3, "U": 4, "V": 5, "W": 6, "X": 7, "Y": 8, "Z": 9,
}  # fmt: skip
"""49 CFR 565.15, table III; I, O and Q are not used."""

_BETWEEN = re.compile(r"[\s.\-_*]+")


def tidy_vin(text: str) -> str:
    """The number in capitals, without blanks and dashes."""
    return _BETWEEN.sub("", text).upper()


def check_digit(vin: str) -> str | None:
    """The check digit that these 17 signs ask for, "0" to "9" or "X"; None where there is none to reckon."""
    if len(vin) != LENGTH or any(sign not in VALUES for sign in vin):
        return None
    rest = sum(VALUES[sign] * weight for sign, weight in zip(vin, WEIGHTS, strict=True)) % 11
    return "X" if rest == 10 else str(rest)


def doubts_of(text: str) -> tuple[str, ...]:
    """What should be looked at again in a number as typed; nothing here is a reason to refuse it."""
    vin = tidy_vin(text)
    if not vin:
        return ()
    doubts = []
    if len(vin) != LENGTH:
        doubts.append(f"the VIN has {len(vin)} signs, and cars since 1981 have {LENGTH}: look again")
    odd = sorted({sign for sign in vin if sign not in VALUES})
    if odd:
        doubts.append(
            f"the VIN holds {' and '.join(odd)}; I, O and Q are never used in one (1 and 0 look like them): look again"
        )
    wanted = check_digit(vin)
    if wanted is not None and vin[CHECK_PLACE] != wanted:
        doubts.append(
            f"the ninth sign of the VIN is {vin[CHECK_PLACE]}, and North America's check digit would be {wanted}: "
            "look again if the car was made for there; many other markets have no check digit"
        )
    return tuple(doubts)
