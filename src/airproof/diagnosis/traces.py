"""What a healthy engine would have shown, point by point, for the exhibits."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.weighing import RelationTrace
from airproof.engine.air_path import AIR_AGAINST_PRESSURE, TRIMS, OnePath, Relation

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

BAND = 1.645  # 90 %


_Judged: TypeAlias = tuple[OnePath, Floats, Floats]


def traces_of(case: Case) -> tuple[RelationTrace, ...]:
    """All traces that the recording's signals allow."""
    air = _judged(case, AIR_AGAINST_PRESSURE)
    made = (_air_flow(air), _manifold(air), _charge(case), _trims(_judged(case, TRIMS)))
    return tuple(trace for trace in made if trace is not None)


def _judged(case: Case, relation: Relation) -> _Judged | None:
    """The usable points, and the relation's residual with its standard deviation on a healthy engine."""
    usable = relation.usable(case.path)
    if np.count_nonzero(usable) < 3:
        return None
    path = case.path.only(usable)
    unknown = case.path.belief.variance(relation.weights(path))
    sd = np.sqrt(unknown + np.square(relation.sd(path)))
    return path, relation.residual(path, path.seen), sd


def _trace(
    name: str,
    title: str,
    unit: str,
    path: OnePath,
    measured: Floats,
    expected: Floats,
    low: Floats,
    high: Floats,
) -> RelationTrace:
    points = path.points
    load = 100.0 * points.manifold / path.barometer_pa
    return RelationTrace(name, title, unit, (points.start_s + points.end_s) / 2, measured, expected, low, high, load)


def _air_flow(judged: _Judged | None) -> RelationTrace | None:
    if judged is None:
        return None
    path, residual, sd = judged
    measured = path.points.air_flow * 1e3
    expected = measured * np.exp(-residual)
    low, high = expected * np.exp(-BAND * sd), expected * np.exp(BAND * sd)
    return _trace("air-flow", "air flow", "g/s", path, measured, expected, low, high)


def _manifold(judged: _Judged | None) -> RelationTrace | None:
    """The pressure that the measured air flow asks for: the same relation, read the other way."""
    if judged is None:
        return None
    path, residual, sd = judged
    measured = path.points.manifold * 1e-3
    expected = measured * np.exp(residual)
    low, high = expected * np.exp(-BAND * sd), expected * np.exp(BAND * sd)
    return _trace("manifold-pressure", "manifold pressure, absolute", "kPa", path, measured, expected, low, high)


def _charge(case: Case) -> RelationTrace | None:
    points = case.points
    known = points.has("charge", "manifold")
    if not case.profile.boosted or np.count_nonzero(known) < 3:
        return None
    path = OnePath(points.where(known), case.path.barometer_pa, case.profile, case.path.belief)
    measured = path.points.charge * 1e-3
    target = path.points.charge_target * 1e-3
    floor = np.maximum(case.barometer.kpa, path.points.manifold * 1e-3)
    expected = np.where(np.isfinite(target), np.maximum(target, case.barometer.kpa), floor)
    slack = np.hypot(3.0, case.barometer.sd_kpa)
    return _trace(
        "charge-pressure",
        "charge pressure, absolute",
        "kPa",
        path,
        measured,
        expected,
        expected - slack,
        expected + slack,
    )


def _trims(judged: _Judged | None) -> RelationTrace | None:
    if judged is None:
        return None
    path, residual, sd = judged
    measured = 100.0 * (path.points.trim - 1.0)
    middle = np.log(path.points.trim) - residual
    expected, low, high = (100.0 * np.expm1(middle + k * BAND * sd) for k in (0.0, -1.0, 1.0))
    return _trace("trims", "total fuel trim", "%", path, measured, expected, low, high)
