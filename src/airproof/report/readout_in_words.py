"""What was found at a car's plug and read out of it, in plain words."""

from __future__ import annotations

from collections.abc import Iterable

from airproof.knowledge.model import Knowledge
from airproof.report.in_words import Part
from airproof.report.wording import number
from airproof.vehicle.answers.readiness import CarReadiness
from airproof.vehicle.link.clearing import CAUTION, LOST, Cleared
from airproof.vehicle.link.finding import Found
from airproof.vehicle.readout.readout import Readout, UnitReadout

_STATUSES = ("stored", "pending", "permanent")


def found_in_words(found: Found) -> list[Part]:
    """Which units answer, and how."""
    rate = "" if found.rate is None else f" at {found.rate // 1000} kbit/s"
    style = "the services 22, 19 and 14 of SAE J1979-2" if found.units[0].new_style else "the services 01 to 0A"
    units = ", ".join(unit.name for unit in found.units)
    count = f"{len(found.units)} control unit{'s' * (len(found.units) != 1)}"
    says = f"The car answers{rate}, with addresses of {found.addresses.width} bits, by {style}: {count}, {units}."
    return [Part("found", "", (says,)), *([Part("remarks", "How", found.remarks)] if found.remarks else [])]


def readout_in_words(readout: Readout, known: Knowledge, left_out: Iterable[str] = ()) -> list[Part]:
    """Codes first, then what was stored with them, readiness, results, and who said so."""
    parts = [Part("codes", "", _codes(readout, known))]
    for unit in readout.units:
        for frame in unit.frames:
            which = f", record {frame.record}" if frame.record else ""
            lines = frame.lines or ("nothing that could be read",)
            parts.append(Part("freeze-frame", f"Freeze frame of {frame.code}, {unit.unit.name}{which}", lines))
    for unit in readout.units:
        if unit.readiness is not None and unit.readiness.complete:
            parts.append(Part("readiness", f"Readiness, {unit.unit.name}", _readiness(unit.readiness)))
        failing = [one for one in unit.results if not one.passed]
        if unit.results:
            lines = tuple(
                f"{one.title}: {number(one.value)} {one.unit}, limits {number(one.low)} to {number(one.high)}"
                for one in failing
            )
            passed = f"{len(unit.results) - len(failing)} of {len(unit.results)} tests lie within their limits"
            parts.append(Part("results", f"Monitor results, {unit.unit.name}", (passed, *lines)))
    parts += [
        Part("since-cleared", f"Since codes were cleared, {unit.unit.name}", unit.counted_lines)
        for unit in readout.units
        if unit.counted_lines
    ]
    parts.append(Part("units", "Control units", tuple(map(_unit, readout.units))))
    doubts = (*readout.remarks, *(line for unit in readout.units for line in unit.remarks), *left_out)
    if doubts:
        parts.append(Part("remarks", "To know", doubts))
    return parts


def before_clearing() -> list[Part]:
    """What clearing takes with it."""
    return [Part("lost", "Clearing takes with it", LOST), Part("caution", "Take care", (CAUTION,))]


def cleared_in_words(cleared: Cleared, after: Readout) -> list[Part]:
    """Who has cleared, and what stands now."""
    said = [f"{name}: {'cleared' if how is True else f'refused, {how}'}" for name, how in cleared.units.items()]
    stands = [f"{code} stands as {status}" for status in _STATUSES for code in after.codes(status)]
    if not after.complete:
        stands += [*after.remarks, "not every unit told its codes: read them again"]
    return [
        Part("cleared", "Cleared" if cleared.all_of_them else "Not cleared by all", tuple(said or ["nobody answered"])),
        Part("after", "Read again", tuple(stands or ["no code is there now"])),
    ]


def _codes(readout: Readout, known: Knowledge) -> tuple[str, ...]:
    statuses: dict[str, list[str]] = {}
    for status in _STATUSES:
        for code in readout.codes(status):
            statuses.setdefault(code, []).append(status)
    if not statuses:
        return ("No codes." if readout.complete else "No codes were told, and not every unit answered.",)
    lines = []
    for code, told in statuses.items():
        entry = known.codes.get(code)
        title = f": {entry.title}" if entry is not None else ""
        lines.append(f"{code}, {' and '.join(told)}{title}")
    count = f"{len(statuses)} code{'s' * (len(statuses) != 1)}."
    return (f"{count} The lamp is {'on' if _lamp(readout) else 'off'}.", *lines)


def _lamp(readout: Readout) -> bool:
    return any(unit.readiness is not None and unit.readiness.lamp for unit in readout.units)


def _readiness(readiness: CarReadiness) -> tuple[str, ...]:
    done = [name for name, complete in readiness.complete.items() if complete]
    left = [name for name, complete in readiness.complete.items() if not complete]
    return tuple(f"{what}: {', '.join(names)}" for what, names in (("complete", done), ("not complete", left)) if names)


def _unit(unit: UnitReadout) -> str:
    told = [
        unit.name,
        f"VIN {unit.vin}" if unit.vin else "",
        f"calibration {', '.join(unit.calibration_ids)}" if unit.calibration_ids else "",
        f"verification {', '.join(unit.calibration_numbers)}" if unit.calibration_numbers else "",
        f"{len(unit.items)} items of live data" if unit.items else "",
        f"{len(unit.further)} identifiers F5xx, kept as they came" if unit.further else "",
    ]
    return f"{unit.unit.name}: {'; '.join(one for one in told if one) or 'tells nothing of itself'}"
