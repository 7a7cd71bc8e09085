"""One step of the air path: linearly implicit where it is stiff, second order everywhere, as long as accuracy allows.

Wide open, a throttle equalises the pressures on its two sides within a millisecond, while the turbocharger takes a
second. So the pressures, and only they, are stepped implicitly, with slopes that need not be exact: the method (a
Rosenbrock W-method, ROS2) is of second order for any of them. The contents follow by the slopes of the same flows:
were they stepped apart from the pressures, the temperatures made of both would drift.

Sources
[ROS2] J. G. Verwer, E. J. Spee, J. G. Blom, W. Hundsdorfer, A second-order Rosenbrock method applied to photochemical
       dispersion problems (1999), from memory of it.
"""

from __future__ import annotations

import math
from typing import Annotated

from airproof.engine.rehearsal.air.air_path import (
    BEFORE,
    CONTENT,
    CONTENT_BEFORE,
    CONTENT_NEXT,
    CONTENT_OWN,
    NEXT,
    OWN,
    changes,
)
from airproof.engine.rehearsal.air.machinery import (
    M_BURNED,
    PRESSURES,
    ROTOR,
    STATES,
    Commands,
    Engine,
    Flows,
    Outside,
)
from airproof.engine.rehearsal.compiled import compiled, entered_from_python
from airproof.engine.rehearsal.records import Floats

IMPLICIT = 1.0 - 1.0 / math.sqrt(2.0)  # L-stable [ROS2]
TOLERANCE = 6e-4
"""Relative error of a pressure or content that one step of the first-order companion may show.

The step itself is far better: this keeps the whole state within 0.2 % of an exact solution, which the tests hold it to.
"""
SHORTEST = 2e-5


class Work:
    """Scratch space of one step."""

    rates: Annotated[Floats, STATES]
    k_1: Annotated[Floats, STATES]
    k_2: Annotated[Floats, STATES]
    trial: Annotated[Floats, STATES]
    scratch: Annotated[Floats, STATES]
    slopes: Annotated[Floats, (PRESSURES, 6)]
    spare: Annotated[Floats, (PRESSURES, 6)]


@compiled
def solve_banded(slopes: Floats, weight: float, right: Floats, scratch: Floats) -> None:
    """Solve (1 - weight A) x = right, A tridiagonal for the pressures; the answer replaces `right`.

    The contents follow the pressures found: the flows that change both are then the same ones.
    """
    lead = 1.0 - weight * slopes[0, OWN]
    scratch[0] = -weight * slopes[0, NEXT] / lead
    right[0] /= lead
    for k in range(1, PRESSURES):
        below = -weight * slopes[k, BEFORE]
        lead = 1.0 - weight * slopes[k, OWN] - below * scratch[k - 1]
        scratch[k] = -weight * slopes[k, NEXT] / lead
        right[k] = (right[k] - below * right[k - 1]) / lead
    for k in range(PRESSURES - 2, -1, -1):
        right[k] -= scratch[k] * right[k + 1]
    for k in range(1, PRESSURES):
        by_next = slopes[k, CONTENT_NEXT] * right[k + 1] if k < PRESSURES - 1 else 0.0
        acted = slopes[k, CONTENT_BEFORE] * right[k - 1] + slopes[k, CONTENT_OWN] * right[k] + by_next
        right[CONTENT + k] += weight * acted


@compiled
def advance(
    engine: Engine, outside: Outside, commands: Commands, dt: float, y: Floats, step: float, flows: Flows, work: Work
) -> float:
    """Carry the state `y` (13,) over `dt` s, in place; returns the step (s) to begin the next stretch with.

    `flows` holds the flows near the end of it on return.
    """
    rates, k_1, k_2, trial = work.rates, work.k_1, work.k_2, work.trial
    done = 0.0
    h = min(step, dt)
    changes(engine, outside, commands, 0.0, y, rates, work.slopes, flows)
    while True:
        for n in range(STATES):
            k_1[n] = rates[n]
        solve_banded(work.slopes, IMPLICIT * h, k_1, work.scratch)
        usable = True
        for n in range(STATES):
            trial[n] = y[n] + h * k_1[n]
            usable = usable and (n >= M_BURNED or trial[n] > 0.2 * y[n])
        error = 1e9
        if usable:
            changes(engine, outside, commands, (done + h) / dt, trial, k_2, work.spare, flows)
            for n in range(STATES):
                k_2[n] -= 2.0 * k_1[n]
            solve_banded(work.slopes, IMPLICIT * h, k_2, work.scratch)
            error = 0.0
            for n in range(M_BURNED):
                error = max(error, math.fabs(0.5 * h * (k_1[n] + k_2[n])) / y[n])
            error = error / TOLERANCE if error == error else 1e9  # a NaN is a step far too long
        if not error <= 1.0 and h > SHORTEST:
            h = max(h * max(0.8 / math.sqrt(error), 0.2), SHORTEST)
            continue
        for n in range(STATES):
            y[n] += h * (1.5 * k_1[n] + 0.5 * k_2[n])
        y[M_BURNED] = max(y[M_BURNED], 0.0)
        y[ROTOR] = max(y[ROTOR], 0.0)
        done += h
        step = h * min(0.8 / math.sqrt(error + 1e-6), 3.0)
        if done >= dt * (1.0 - 1e-9):
            return max(step, SHORTEST)
        h = min(max(step, SHORTEST), dt - done)
        changes(engine, outside, commands, done / dt, y, rates, work.slopes, flows)


@entered_from_python
def follow(
    engine: Engine,
    outside: Outside,
    asked: Commands,
    dt: float,
    speed: Floats,
    throttle: Floats,
    wastegate: Floats,
    y: Floats,
    states: Floats,
    air: Floats,
    work: Work,
    flows: Flows,
) -> None:
    """Drive the air path alone along prescribed speed (1/s), throttle (%) and wastegate (0 to 1), each (n,).

    `states` (n, 13) receives the state at each moment, `air` (n, 2) the
    flow through the filter and into the cylinders (kg/s); row 0 is the state given in `y`. Between moments dt apart the
    throttle and the wastegate move evenly; the speed is that of the middle.
    """
    step = dt
    for k in range(speed.size):
        if k > 0:
            asked.speed = 0.5 * (speed[k - 1] + speed[k])
            asked.throttle_0, asked.throttle_1 = throttle[k - 1], throttle[k]
            asked.wastegate_0, asked.wastegate_1 = wastegate[k - 1], wastegate[k]
            step = advance(engine, outside, asked, dt, y, step, flows, work)
        for n in range(STATES):
            states[k, n] = y[n]
        air[k, 0], air[k, 1] = flows.inlet, flows.cylinders
