"""When was the trouble there? A walk through the recording in short windows.

For each likely cause the relations are judged window by window, healthy against that cause at its estimated size; a
two-state chain that seldom switches joins the windows (forward and backward), so that single bad windows do not
flicker.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks.relations import LYING_SENSORS, TRIMS_UNANSWERED
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.lying_sensors import undone
from airproof.diagnosis.testimony import log_t
from airproof.diagnosis.two_states import TwoStates
from airproof.diagnosis.verdict import Moment
from airproof.engine.air_path import RELATIONS, TRIMS
from airproof.engine.shared import shared
from airproof.knowledge.model import NONE
from airproof.recording.recording import Interval
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]

WINDOW_S = 10.0
MOST_WINDOWS = 720
WINDOW_FLOOR = 0.012  # what a relation may be off in one window by itself; judged: Airproof authors
LIKELY = 0.02  # causes less probable than this are not followed


def windows_of(case: Case) -> Floats:
    """Edges of the windows, s."""
    width = max(WINDOW_S, case.recording.duration_s / MOST_WINDOWS)
    count = max(int(np.ceil(case.recording.duration_s / width)), 1)
    return np.asarray(case.recording.start_s + width * np.arange(count + 1, dtype=np.float64))


def presence(case: Case, cause: str, size: float) -> Floats:
    """Probability, window by window, that the cause is there, if it is the cause at all; shape (windows,)."""
    edges = windows_of(case)
    support = np.zeros(edges.size - 1)
    repeat = shared().points_that_repeat
    for relation in RELATIONS:
        usable = relation.usable(case.path)
        if not usable.any():
            continue
        points = case.points.where(usable)
        path = case.path.only(usable)
        truth = path.without(cause, np.array([size]))
        healthy = relation.residual(path, path.seen)
        with_cause = np.broadcast_to(relation.residual(path, truth), (1, len(points)))[0]
        window = np.clip(np.searchsorted(edges, points.start_s, side="right") - 1, 0, support.size - 1)
        unknown = case.path.belief.variance(relation.weights(path))
        count = np.bincount(window, minlength=support.size)
        seen = count > 0

        def mean(values: Floats, window: NDArray[np.intp] = window, count: NDArray[np.intp] = count) -> Floats:
            total = np.bincount(window, values, minlength=count.size)
            return np.divide(total, count, out=np.zeros(count.size), where=count > 0)

        noise = mean(np.square(relation.sd(path))) * repeat / np.maximum(count, repeat)
        sd = np.sqrt(mean(unknown) + noise + WINDOW_FLOOR**2)
        gain = log_t(mean(with_cause) / sd) - log_t(mean(healthy) / sd)
        if relation is TRIMS and cause in LYING_SENSORS:
            gain = np.logaddexp(np.log1p(-TRIMS_UNANSWERED) + gain, np.log(TRIMS_UNANSWERED))
        support += np.where(seen, gain, 0.0)
    support += _engine_off(case, cause, size, edges)
    return np.asarray(TwoStates.seldom(float(edges[1] - edges[0])).joined(support[None, :])[1][0])


def _engine_off(case: Case, cause: str, size: float, edges: Floats) -> Floats:
    """Log likelihood ratio of the windows in which the engine stood: manifold pressure against the day's."""
    support = np.zeros(edges.size - 1)
    signal = case.recording.get("manifold_pressure")
    if signal is None:
        return support
    standing = case.regimes.mask(signal.time, Regime.KEY_ON)
    if not standing.any():
        return support
    time, value = signal.time[standing], signal.values[standing]
    true = undone("manifold_pressure", value, cause, np.full(value.size, size))
    sd = float(np.hypot(expected("sensor-tolerance").sd, case.barometer.sd_kpa))
    gain = log_t((true - case.barometer.kpa) / sd) - log_t((value - case.barometer.kpa) / sd)
    window = np.clip(np.searchsorted(edges, time, side="right") - 1, 0, support.size - 1)
    count = np.bincount(window, minlength=support.size)
    total = np.bincount(window, gain, minlength=support.size)
    return np.divide(total, count, out=support, where=count > 0)


def walk(
    case: Case,
    probability: Mapping[str, float],
    size: Mapping[str, float],
    known: Mapping[str, Sequence[Interval]],
) -> tuple[Moment, ...]:
    """The timeline: in each window how probably something was wrong, and what.

    `known` are the causes of which it is known when they were there (s). Without a recording there is no when.
    """
    if not case.recording.duration_s:
        return ()
    edges = windows_of(case)
    followed = {
        cause: chance * (_part_of(edges, known[cause]) if cause in known else presence(case, cause, size.get(cause, 0)))
        for cause, chance in probability.items()
        if cause != NONE and chance >= LIKELY
    }
    moments = []
    for k in range(edges.size - 1):
        causes = {cause: round(float(rows[k]), 4) for cause, rows in followed.items()}
        wrong = min(sum(causes.values()), 1.0)
        moments.append(Moment(float(edges[k]), float(edges[k + 1]), round(wrong, 4), causes))
    return tuple(moments)


def _part_of(edges: Floats, spells: Sequence[Interval]) -> Floats:
    """The part of each window that lies within the spells."""
    within = sum((np.clip(edges, start, end) for start, end in spells), np.zeros(edges.size))
    return np.asarray(np.diff(within) / np.diff(edges))


def spells(case: Case, there: Floats) -> tuple[Interval, ...]:
    """The stretches in which a cause was rather there than not, windows joined."""
    edges = windows_of(case)
    found: list[Interval] = []
    for k in np.flatnonzero(there > 0.5):
        if found and abs(found[-1][1] - edges[k]) < 1e-6:
            found[-1] = (found[-1][0], float(edges[k + 1]))
        else:
            found.append((float(edges[k]), float(edges[k + 1])))
    return tuple(found)
