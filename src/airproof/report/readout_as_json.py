"""What was found and read out of a car as one JSON object: `airproof.car/1` and `airproof.readout/1`."""

from __future__ import annotations

import json
from typing import Any

from airproof.vehicle.link.clearing import Cleared
from airproof.vehicle.link.finding import Found
from airproof.vehicle.readout.readout import Readout, UnitReadout


def found_as_json(found: Found) -> str:
    """Which units answer, and how."""
    return _dumped("airproof.car/1", _found(found))


def readout_as_json(readout: Readout) -> str:
    """Everything read, unit by unit; a list that was not answered is null."""
    return _dumped("airproof.readout/1", _readout(readout))


def cleared_as_json(cleared: Cleared, after: Readout) -> str:
    """Who has cleared, or why not, and everything read afterwards."""
    units = {
        name: {"cleared": how is True, "why_not": None if how is True else how} for name, how in cleared.units.items()
    }
    return _dumped("airproof.cleared/1", {"units": units, "after": _readout(after)})


def _found(found: Found) -> dict[str, Any]:
    return {
        "adapter": found.adapter.name,
        "bit_rate": found.rate,
        "address_bits": found.addresses.width,
        "units": [{"id": unit.name, "style": "J1979-2" if unit.new_style else "J1979"} for unit in found.units],
        "remarks": list(found.remarks),
    }


def _readout(readout: Readout) -> dict[str, Any]:
    return {
        "read_at": readout.read_at.isoformat(),
        "vin": readout.vin or None,
        "codes_read": readout.complete,
        "units": [_unit(unit) for unit in readout.units],
        "remarks": list(readout.remarks),
    }


def _unit(unit: UnitReadout) -> dict[str, Any]:
    ready = unit.readiness
    return {
        "id": unit.unit.name,
        "name": unit.name or None,
        "vin": unit.vin or None,
        "calibration_ids": list(unit.calibration_ids),
        "calibration_numbers": list(unit.calibration_numbers),
        "items": [f"{number:02X}" for number in sorted(unit.items)],
        "lamp": None if ready is None else ready.lamp,
        "readiness": None if ready is None else dict(ready.complete),
        "codes": {
            status: None if (codes := getattr(unit, status)) is None else list(codes)
            for status in ("stored", "pending", "permanent")
        },
        "failure_types": dict(unit.failures),
        "freeze_frames": [
            {
                "code": frame.code,
                "record": frame.record,
                "signals": {name: float(f"{value:.7g}") for name, value in frame.signals.items()},
                "items": {f"{number:02X}": data.hex().upper() for number, data in frame.items.items()},
            }
            for frame in unit.frames
        ],
        "monitor_results": [
            {
                "monitor": f"{one.monitor:02X}",
                "test": f"{one.test:02X}",
                "says": one.title,
                "value": one.value,
                "low": one.low,
                "high": one.high,
                "unit": one.unit,
                "passed": one.passed,
            }
            for one in unit.results
        ],
        "in_use_ratios": dict(unit.ratios),
        "since_cleared": dict(unit.counted),
        "further_identifiers": {f"F5{number:02X}": data.hex().upper() for number, data in unit.further.items()},
        "remarks": list(unit.remarks),
    }


def _dumped(schema: str, content: dict[str, Any]) -> str:
    return json.dumps({"schema": schema, **content}, indent=1, allow_nan=False, ensure_ascii=False)
