"""What is pasted as it stands elsewhere: codes in any text, a freeze frame in any form, one value a line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from airproof.diagnosis.facts_file import NOT_IN_A_FRAME
from airproof.errors import UnusableRequest
from airproof.jobs.adding import CODES, codes_in_text
from airproof.knowledge.lookup import spelled_alike
from airproof.knowledge.model import Knowledge
from airproof.quantities.unit_table import UNITS
from airproof.recording.headings import Recognition, recognise
from airproof.recording.signals import glossary
from airproof.recording.units_stated import stated_unit

_LINE = re.compile(
    r"^(?P<name>.*?[^\W\d_].*?)\s*[:=\t]\s*(?P<value>\S.*)$|^(?P<words>.*?[^\W\d_].*?)\s+(?P<plain>[-+]?\d.*)$"
)
_VALUE = re.compile(r"^(?P<number>[-+]?\d+(?:[.,]\d+)?)\s*(?P<unit>\S.*)?$")
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")
LONGEST, LONGEST_LINE = 20_000, 200
_SPACED = re.compile(r"\b([PCBU])[ -]+(?=[0-9])", re.IGNORECASE)
_TOKEN = re.compile(r"[A-Za-z0-9]+")
_WITH_DIGIT = re.compile(r"[^\W_]*\d[^\W_]*")  # its letters are no word: "PP0171" is a code typed wrong
_WORD = re.compile(r"[^\W\d_]{2,}")
_NO_CODE = re.compile(r"(?!0[0-9]{2,3}$)[0-9]+")  # the number of a line, a count, a year; 0171 lacks its letter
_ALIKE = re.compile(r"(?:(?:PP?|UU?)[0-9OIL][0-9A-FOILS]{2,5})+", re.IGNORECASE)
"""What stands for no other thing in a sentence than a code typed wrong; C180 and B200 may be cars, U2 a pin."""

_CLAUSE = re.compile(r"[.,;:]")
_DENIED = re.compile(r"\b(?:no|not|none)\b", re.IGNORECASE)
_HEADS = re.compile(r"(?:[ \t]+(?:codes?|faults?|dtcs?)\b)?[ \t]*[:=]", re.IGNORECASE)
"""What follows a status that is said of the codes behind it: "Pending codes: P0171"."""

_PLURAL = {"both": 2, "all": None, "each": None, "are": None}
"""How many of the codes before a status it is said of, where a word says that it is of more than one."""

_PLURALS = re.compile(rf"\b(?:{'|'.join(_PLURAL)})\b", re.IGNORECASE)

_LOOKS_LIKE = str.maketrans("OIL", "011")
NAMED = 5


@dataclass(frozen=True)
class FrameRead:
    """Values by signal, with the unit as it stands, and the lines that nothing was made of. Of these the
    `doubtful` give a signal that is known a number without a unit, or with one that it cannot have.
    """

    values: Mapping[str, str | float]
    left_out: tuple[str, ...]
    doubtful: tuple[str, ...] = ()


def frame_in_text(text: str) -> FrameRead:
    """Read lines such as "Engine speed: 780 rpm", "MAP 52 kPa", "short_trim_1 = 4 %".

    The unit behind the value counts, else one in the name; a value without any unit is left out, since a guess of a
    single number would be silent, and so is "1,050 rpm", which is a thousand here and hardly more than one there. Of
    two lines on one signal the first counts.
    """
    values: dict[str, str | float] = {}
    left_out: list[str] = []
    doubtful: list[str] = []
    for line in text[:LONGEST].splitlines():
        row = line.strip()
        if not row:
            continue
        found = _read(row) if len(row) <= LONGEST_LINE else None
        if found is not None and found[1] is not None and found[0] not in values:
            values[found[0]] = found[1]
            continue
        left_out.append(row[:120])
        if found is not None and found[0] not in values:
            doubtful.append(row[:120])
    return FrameRead(values, tuple(left_out), tuple(doubtful))


def codes_pasted(text: str, known: Knowledge) -> list[str]:
    """All codes in a text, as `codes_in_text`; none where there is no text.

    In a bare list every entry must be a code; in a text with other words, what can hardly be anything else. Raises
    UnusableRequest, with what is spelled alike, for one that cannot be read, and for a text in which there is no code:
    a code that is dropped would later count as one that is not there.
    """
    found, rest = codes_in_text(text), _SPACED.sub(r"\1", CODES.sub(" ", text))
    words = {word.lower() for word in _WORD.findall(_WITH_DIGIT.sub(" ", rest))} - set(known.statuses)
    tokens = [one for one in _TOKEN.findall(rest) if any(map(str.isdigit, one)) and not _NO_CODE.fullmatch(one)]
    unread = [token for token in tokens if not words or _ALIKE.fullmatch(token)]
    values = [token for token in unread if _is_value(token)]
    unread = [token for token in unread if token not in values]
    if unread:
        some = list(dict.fromkeys(unread))[:NAMED]
        alike = [
            f"Near {one}: {', '.join(close)}."
            for one in some
            if (close := spelled_alike(one.upper().translate(_LOOKS_LIKE), known.codes))
        ]
        raise UnusableRequest(
            f"{', '.join(map(repr, some))} cannot be read as {'a code' if len(some) == 1 else 'codes'}",
            "a letter and four digits, such as P0106",
            " ".join([*alike, "Correct it, or take out what is no code."]),
        )
    if values:
        several = len(values) > 1
        raise UnusableRequest(
            f"{', '.join(map(repr, values[:NAMED]))} read{'' if several else 's'} like "
            f"{'values' if several else 'a value'} and no code{'s' if several else ''}",
            "codes alone, such as P0106",
            "What was stored with a code belongs in its freeze frame, by name and value; take it out here.",
        )
    if text.strip() and not found:
        raise UnusableRequest(
            "no code was found in that",
            "any text with codes such as P0106 in it",
            "A code is a letter (P, C, B or U) and four signs. Leave it empty where there are none.",
        )
    return found


def _is_value(token: str) -> bool:
    value = _VALUE.match(token)
    return value is not None and value["unit"] is not None and stated_unit(value["unit"]) is not None


def statuses_pasted(text: str, known: Knowledge, otherwise: str = "stored") -> dict[str, str]:
    """All codes in a text, as `codes_pasted`, each with the status that stands beside it, `otherwise` where none does.

    A status counts for the one code right before it ("P0171 pending"), for two where it is "both pending", and for all
    that have none yet where it is "all pending" or "are pending"; where it stands first, or heads some
    ("Pending: P0171, P0106"), for those behind it in its line, or in the lines below it. What is said first counts.
    """
    codes = codes_pasted(text, known)
    marks = re.compile(rf"(?P<code>{CODES.pattern})|\b(?P<status>{'|'.join(known.statuses)})\b", re.IGNORECASE)
    said: dict[str, str] = {}
    heading = last = ""
    for line in text.splitlines():
        found = list(marks.finditer(line))
        by_itself = any(mark["code"] for mark in found) and any(mark["status"] for mark in found)
        heading = "" if by_itself else heading
        end = 0
        for mark in found:
            before, end = _CLAUSE.split(line[end : mark.start()])[-1], mark.end()
            if mark["code"]:
                last = codes_in_text(mark["code"])[0]
                if heading:
                    said.setdefault(last, heading)
            elif not _DENIED.search(before):
                status = mark["status"].lower()
                behind = last and last not in said and not heading and (found[0]["code"] or len(found) == 1)
                if behind and not _HEADS.match(line, end):
                    count = next((_PLURAL[word.lower()] for word in _PLURALS.findall(before)), 1)
                    left = [code for code in codes[: codes.index(last) + 1] if code not in said]
                    said |= dict.fromkeys(left if count is None else left[-count:], status)
                else:
                    heading = status
        heading = "" if by_itself else heading
    return {code: said.get(code, otherwise) for code in codes}


def statuses_in_words(found: Mapping[str, str]) -> str:
    """Codes with their status, where that is not the usual one."""
    return ", ".join(code if status == "stored" else f"{code} ({status})" for code, status in found.items())


def _read(row: str) -> tuple[str, str | float | None] | None:
    """The signal that a line names and its value, None for a number that cannot be taken as it stands."""
    match = _LINE.match(row)
    if match is None:
        return None
    name, said = match["name"] or match["words"], (match["value"] or match["plain"]).strip()
    own = glossary().signals.get(name.strip().casefold())
    known = recognise(name) if own is None else Recognition(own, None, (0, 0))
    if known is None or known.signal.name in NOT_IN_A_FRAME:
        return None
    kind, number = known.signal, _VALUE.match(said)
    if kind.texts and said.casefold() in kind.texts:
        return kind.name, said
    if number is None:
        return None
    value = number["number"].replace(",", ".")
    if kind.unit == "1":
        return kind.name, None if number["unit"] else float(value)
    if _THOUSANDS.fullmatch(number["number"]):
        return kind.name, None
    unit = stated_unit(number["unit"]) if number["unit"] else known.unit
    if unit is not None and unit.reference == "gauge" and kind.is_absolute_pressure:
        return kind.name, None  # without the day's pressure it says nothing
    alike = unit is not None and unit.unit in UNITS and UNITS[unit.unit].kind == UNITS[kind.unit].kind
    return kind.name, f"{value} {unit.unit}" if unit is not None and alike else None
