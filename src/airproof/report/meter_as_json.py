"""Meter work as one JSON object: `airproof.meter/1`."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from airproof.diagnosis.meter.expected_here import Expected
from airproof.diagnosis.meter.fitted import Candidate, Fitted, Interval, Recognised
from airproof.diagnosis.meter.judged import Judged, SessionJudged
from airproof.diagnosis.meter.learn import FromRecording
from airproof.diagnosis.meter.lines import Line
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.model import Knowledge
from airproof.repair.meter_work.worksheet import Worksheet

SCHEMA = "airproof.meter/1"


def dumped(kind: str, content: dict[str, Any]) -> str:
    """One object, with its schema first and nothing that JSON does not know."""
    return json.dumps({"schema": SCHEMA, "kind": kind, **_rounded(content)}, indent=1, allow_nan=False)


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_rounded(one) for one in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (float, np.floating)):
        return float(f"{float(value):.7g}") if np.isfinite(value) else None
    return value


def _expected(expected: Expected | None) -> dict[str, Any] | None:
    if expected is None:
        return None
    return {
        "value": expected.value,
        "low": expected.low,
        "high": expected.high,
        "unit": expected.unit,
        "standard_deviations": dict(expected.parts),
    }


def _line(line: Line | None) -> dict[str, Any] | None:
    if line is None:
        return None
    return {
        "id": line.id,
        "title": line.title,
        "unit": line.unit,
        "slope_per_kpa": line.slope,
        "offset": line.offset,
        "supply_v": line.supply_v,
        "span_kpa": [line.low_kpa, line.high_kpa],
        "error_kpa": line.error_kpa,
        "measures": "difference" if line.difference else "absolute",
        "standing": line.standing,
    }


def _day(barometer: Barometer) -> dict[str, Any]:
    return {"kpa": barometer.kpa, "sd_kpa": barometer.sd_kpa, "says": barometer.says}


def _interval(interval: Interval | None, unit: str) -> dict[str, Any] | None:
    return None if interval is None else dict(zip(("value", "low", "high"), interval, strict=True)) | {"unit": unit}


def _fitted(fitted: Fitted | None) -> dict[str, Any] | None:
    if fitted is None:
        return None
    fit = fitted.fit
    return {
        "line": _line(fitted.learned),
        "intercept_sd": float(np.sqrt(fit.covariance[0, 0])),
        "slope_sd": float(np.sqrt(fit.covariance[1, 1])),
        "covariance": float(fit.covariance[0, 1]),
        "chi_square": fit.chi_square,
        "freedom": fit.freedom,
        "crooked": fitted.crooked,
        "residuals_kpa": [float(r) for r in fitted.off_line_kpa],
        "offset": _interval(fitted.offset_kpa, "kPa"),
        "gain": _interval(fitted.gain_percent, "%"),
        "errors": [
            {"where": one.where, "at_kpa": one.kpa, **(_interval(one.error, "kPa") or {})} for one in fitted.errors
        ],
        "within_band": fitted.within_band,
    }


def _candidate(one: Candidate | None) -> dict[str, Any] | None:
    return None if one is None else {"id": one.line.id, "fits": one.fitting, "chance_beyond": one.fits}


def _recognised(named: Recognised | None) -> dict[str, Any] | None:
    if named is None:
        return None
    wrong = None
    if named.wrong_part is not None:
        wrong = {
            "id": named.wrong_part.line.id,
            "decibans_against_a_fault": named.decibans,
            "reports": [{"where": w, "true_kpa": true, "shown_kpa": shown} for w, true, shown in named.reports],
            "offset_kpa": named.offset_kpa,
            "gain_percent": named.gain_percent,
        }
    return {
        "expected": _candidate(named.expected),
        "candidates": [_candidate(one) for one in named.candidates],
        "wrong_part": wrong,
    }


def _items(judged: Sequence[Judged]) -> list[dict[str, Any]]:
    return [
        {
            "what": one.item.what,
            "number": one.item.number,
            "outcome": one.outcome,
            "found": one.found,
            "says": one.says,
            "expected": _expected(one.expected),
        }
        for one in judged
    ]


def judged_as_json(judged: SessionJudged) -> str:
    """What the readings say."""
    return dumped(
        "verdict",
        {
            "day": _day(judged.barometer),
            "items": _items(judged.items),
            "live": _items(judged.live),
            "at_plug": _fitted(judged.fitted),
            "shown": _fitted(judged.shown),
            "recognised": _recognised(judged.recognised),
        },
    )


def worksheet_as_json(sheet: Worksheet) -> str:
    """The worksheet."""
    tasks = [
        {
            "id": task.task.id,
            "title": task.task.title,
            "step": task.task.step,
            "probes": task.task.probes,
            "key": task.task.key,
            "plug": task.task.plug,
            "how": list(task.task.how),
            "expect": [{"label": row.label, **(_expected(row.expected) or {})} for row in task.rows],
            "notes": list(task.notes),
            "outcomes": dict(task.task.outcomes),
            "cautions": list(task.task.cautions),
        }
        for task in sheet.tasks
    ]
    return dumped(
        "worksheet",
        {
            "sensor": sheet.kind.id,
            "line": _line(sheet.line),
            "thermistor": None if sheet.thermistor is None else sheet.thermistor.id,
            "day": _day(sheet.barometer),
            "supply": {"volts": sheet.supply.volts, "sd": sheet.supply.sd, "measured": sheet.supply.measured},
            "meter": {"accuracy": str(sheet.meter.volts), "stated": sheet.meter.stated},
            "tasks": tasks,
        },
    )


def learned_as_json(learned: FromRecording) -> str:
    """What a recording taught."""
    return dumped(
        "learned",
        {
            "points": learned.points,
            "supply_v": learned.supply_v,
            "against": learned.against,
            "fitted": _fitted(learned.fitted),
            "says": learned.says,
            "notes": list(learned.notes),
        },
    )


def lines_as_json(known: Knowledge) -> str:
    """All lines, thermistors and kinds of sensor that are known."""

    def plain(entries: Sequence[Any]) -> list[dict[str, Any]]:
        return [entry.model_dump(mode="json") for entry in entries]

    return dumped(
        "lines",
        {
            "sensors": plain([*known.sensors.values()]),
            "thermistors": plain([*known.thermistors.values()]),
            "sensor_kinds": plain([*known.sensor_kinds.values()]),
        },
    )
