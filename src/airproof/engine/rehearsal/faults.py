"""What is wrong with the simulated car, how badly, and when: steady, growing, or coming and going."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.records import Floats, blank
from airproof.errors import UnusableQuantity, UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.quantities.units import parse_quantity

MOST = 4  # faults at once

# Places in `Faults.now`. Every cause that can be wrong has one; "none" has none.
(
    MAP_OFFSET, MAP_GAIN, MAP_SLOW, MAP_STUCK, MAP_INTERMITTENT, MAP_CIRCUIT, SUPPLY_REFERENCE, BOOST_SENSOR_SCALE,
    BARO_SENSOR, IAT_OFFSET, MAF_SCALE, VACUUM_LEAK, BOOST_LEAK, WASTEGATE_STUCK_OPEN, WASTEGATE_STUCK_CLOSED,
    INTAKE_RESTRICTION, EXHAUST_RESTRICTION, EGR_STUCK_OPEN, THROTTLE_DEPOSITS, VALVE_TIMING, FUEL_DELIVERY, IGNITION,
    CONTROL_UNIT,
) = range(23)  # fmt: skip
CAUSES = (
    "map-offset", "map-gain", "map-slow", "map-stuck", "map-intermittent", "map-circuit", "supply-reference",
    "boost-sensor-scale", "baro-sensor", "iat-offset", "maf-scale", "vacuum-leak", "boost-leak", "wastegate-stuck-open",
    "wastegate-stuck-closed", "intake-restriction", "exhaust-restriction", "egr-stuck-open", "throttle-deposits",
    "valve-timing", "fuel-delivery", "ignition", "control-unit",
)  # fmt: skip

# Where the design gives a cause no size: what its number means here, the usual one, and the most. Judged: Airproof
# authors, sizes at which a driver comes to a workshop.
UNSIZED = {
    "map-circuit": ("1 open or shorted to ground, 2 shorted to the supply", 1.0, 1.0, 2.0),
    "valve-timing": ("% of the filling lost at closed throttle", 22.0, 5.0, 50.0),
    "ignition": ("% of ignitions that fail", 8.0, 0.5, 60.0),
    "control-unit": ("% that its input for manifold pressure reads too high or too low", 14.0, -40.0, 40.0),
}


@dataclass(frozen=True)
class Fault:
    """One cause with its size, in the unit of the cause.

    It begins `from_s` into the drive, grows evenly for `over_s`, and, where `on_s` is given, acts for that long and
    then rests for `off_s`, again and again. A drive's history has it from the beginning, unless it begins in the drive.
    """

    cause: str
    size: float
    from_s: float = 0.0
    over_s: float = 0.0
    on_s: float = 0.0
    off_s: float = 0.0

    @property
    def began_earlier(self) -> bool:
        """Whether the car has had it since before the drive, so that its control unit has learnt to live with it."""
        return self.from_s == 0.0 and self.over_s == 0.0


class Faults:
    """The faults of a drive as the model reads them; `now` holds what acts at this moment, a place for each cause."""

    count: int
    which: Annotated[Floats, MOST]
    sizes: Annotated[Floats, MOST]
    start: Annotated[Floats, MOST]
    grows: Annotated[Floats, MOST]
    acts: Annotated[Floats, MOST]
    rests: Annotated[Floats, MOST]
    now: Annotated[Floats, 23]


def fault_record(faults: Sequence[Fault]) -> Faults:
    """The faults for the compiled model."""
    record = blank(Faults, count=len(faults))
    for k, fault in enumerate(faults):
        record.which[k], record.sizes[k] = CAUSES.index(fault.cause), fault.size
        record.start[k], record.grows[k] = fault.from_s, fault.over_s
        record.acts[k], record.rests[k] = fault.on_s, fault.off_s
    return record


@compiled
def act(faults: Faults, when: float) -> None:
    """Set `now` to what acts at `when` (s of the drive). A factor that does nothing is 1, any other size 0."""
    for k in range(23):
        faults.now[k] = 0.0
    faults.now[INTAKE_RESTRICTION] = faults.now[EXHAUST_RESTRICTION] = 1.0
    for k in range(faults.count):
        since = when - faults.start[k]
        if since < 0.0:
            continue
        share = min(since / faults.grows[k], 1.0) if faults.grows[k] > 0.0 else 1.0
        if faults.acts[k] > 0.0 and since % (faults.acts[k] + faults.rests[k]) > faults.acts[k]:
            continue
        cause = int(faults.which[k])
        if cause in (INTAKE_RESTRICTION, EXHAUST_RESTRICTION):
            faults.now[cause] = 1.0 + share * (faults.sizes[k] - 1.0)
        elif cause in (MAP_STUCK, MAP_CIRCUIT, WASTEGATE_STUCK_OPEN, WASTEGATE_STUCK_CLOSED):
            faults.now[cause] = faults.sizes[k]  # nothing sticks by half
        else:
            faults.now[cause] = share * faults.sizes[k]


OTHER_UNITS = {"kPa": ("pressure", 1e-3), "mm": ("length", 1e3), "V": ("voltage", 1.0), "s": ("time", 1.0)}
COURSE = re.compile(r"(from|over|on|off)=(.+)")


def parse_fault(text: str, profile: EngineProfile | None, details: Details) -> Fault:
    """Read "vacuum-leak=4mm", "map-offset=12kPa:from=60s:over=30s" or "ignition:on=5s:off=20s".

    Without a profile any engine will do. Raises UnusableRequest: no such cause, a cause this engine cannot have, a size
    out of range or of the wrong kind.
    """
    head, *course = text.strip().split(":")
    cause, _, size = (part.strip() for part in head.partition("="))
    where = f"--cause {text}"
    if cause not in CAUSES:
        raise UnusableRequest(f'"{cause}"', f"one of {', '.join(CAUSES)}", "Write it as listed.", where=where)
    if profile is not None:
        _refuse_impossible(cause, profile, details, where)
    times = {}
    for part in course:
        found = COURSE.fullmatch(part.strip())
        if not found:
            wanted = "from=60s, over=30s, on=5s or off=20s, each after a colon"
            raise UnusableRequest(f'"{part}"', wanted, "Leave it out for a fault that is always there.", where=where)
        seconds = _quantity(found[2] if found[2][-1].isalpha() else f"{found[2]}s", "time", "60s", where)
        if not 0.0 <= seconds <= 86400.0:
            raise UnusableRequest(part, "from 0 to 86400 s", "Give a time within the drive.", where=where)
        times[f"{found[1]}_s"] = seconds
    if bool(times.get("on_s")) != bool(times.get("off_s")):
        wanted = "both on= and off=, for a fault that comes and goes"
        raise UnusableRequest("only one of on and off", wanted, "Add the other.", where=where)
    return Fault(cause, _size(cause, size, where), **times)


def _quantity(text: str, kind: str, example: str, where: str) -> float:
    try:
        return parse_quantity(text, kind)
    except UnusableQuantity as fault:
        raise UnusableQuantity(fault.given, fault.wanted, f"For example: {example}", where=where) from fault


def _size(cause: str, text: str, where: str) -> float:
    if cause in UNSIZED:
        means, usual, least, most = UNSIZED[cause]
        unit = ""
    else:
        entry = knowledge().causes[cause]
        sizes = entry.size
        assert sizes is not None
        unit = (entry.unit or "").split()[0]
        means, usual, most = f"in {entry.unit}", sizes.typical, 2.0 * sizes.high
        least = -most if sizes.signed else (1.0 if unit == "x" else 0.0)
        if cause in ("map-gain", "boost-sensor-scale", "maf-scale", "fuel-delivery"):
            least, most = -60.0, 80.0
        elif unit == "%":
            most = 100.0
    if not text:
        return usual
    number = re.fullmatch(r"([-+]?\d+(?:[.,]\d+)?)\s*(\S*)", text)
    if number and number[2] in ("", unit, "%" if cause in UNSIZED else unit):
        value = float(number[1].replace(",", "."))
    elif number and unit in OTHER_UNITS:
        kind, per_si = OTHER_UNITS[unit]
        value = per_si * _quantity(text, kind, f"{usual:g}{unit}", where)
    else:
        raise UnusableRequest(f'"{text}"', f"a size {means}", f"Write {cause}={usual:g}{unit}.", where=where)
    if not least <= value <= most:
        wanted = f"a size from {least:g} to {most:g}, {means}"
        raise UnusableRequest(f"{value:g}", wanted, f"{usual:g} is a usual one.", where=where)
    return value


def _refuse_impossible(cause: str, profile: EngineProfile, details: Details, where: str) -> None:
    reason = why_impossible(cause, profile, details)
    if reason is not None:
        given, wanted, way_out = reason
        raise UnusableRequest(given, wanted, way_out, where=where)


def why_impossible(cause: str, profile: EngineProfile, details: Details) -> tuple[str, str, str] | None:
    """Why this engine cannot have that cause - what it is, what it would need, the way out - or None where it can."""
    entry = knowledge().causes[cause]
    kind = {
        "induction": profile.induction, "air_metering": profile.air_metering, "fuel": profile.fuel,
    }  # fmt: skip
    for name, value in kind.items():
        allowed: tuple[str, ...] = getattr(entry.applies, name)
        if allowed and value not in allowed:
            wanted = f"an engine whose {name.replace('_', ' ')} is {' or '.join(allowed)}"
            return f"{cause} on an engine that is {value}", wanted, "Choose another cause, or another engine."
    has = {
        "egr": details.egr, "charge-pressure-sensor": profile.boosted,
        "barometric-sensor": details.barometer != "key-on manifold pressure",
    }  # fmt: skip
    for part in entry.applies.needs:
        if not has.get(part, True):
            way_out = (
                "Write egr = true under [rehearsal] in the engine file." if part == "egr" else "Choose another cause."
            )
            return f"{cause} on an engine without it", knowledge().equipment[part].title, way_out
    return None
