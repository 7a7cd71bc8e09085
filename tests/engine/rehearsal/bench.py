"""A test bench for the air path: engines, a usual day, runs through the model, and an independent integration of it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.air_path import at_rest, changes
from airproof.engine.rehearsal.air.build import build
from airproof.engine.rehearsal.air.gas import R_EXHAUST
from airproof.engine.rehearsal.air.integrate import Work, follow
from airproof.engine.rehearsal.air.machinery import (
    M_BURNED,
    M_CHARGE,
    M_COMPRESSOR,
    M_EXHAUST,
    M_MANIFOLD,
    M_PIPE,
    P_CHARGE,
    P_COMPRESSOR,
    P_EXHAUST,
    P_MANIFOLD,
    P_PIPE,
    PRESSURES,
    ROTOR,
    STATES,
    THROTTLE_NODES,
    Commands,
    Engine,
    Flows,
    Outside,
)
from airproof.engine.rehearsal.records import blank
from airproof.knowledge.model import Induction
from airproof.quantities.constants import R_AIR, STANDARD_PRESSURE

Floats = NDArray[np.float64]
INDUCTIONS: tuple[Induction, ...] = ("naturally-aspirated", "turbocharged", "supercharged")
STEP_S = 0.01  # of the control unit
T_DAY = 293.15
DAY = blank(Outside, pressure=STANDARD_PRESSURE, temperature=T_DAY, wall=320.0, bay=320.0)
VOLUMES = (
    (P_COMPRESSOR, M_COMPRESSOR, "compressor_m3", R_AIR),
    (P_CHARGE, M_CHARGE, "charge_m3", R_AIR),
    (P_MANIFOLD, M_MANIFOLD, "manifold_m3", R_AIR),
    (P_EXHAUST, M_EXHAUST, "exhaust_m3", R_EXHAUST),
    (P_PIPE, M_PIPE, "pipe_m3", R_EXHAUST),
)


def profile(induction: Induction) -> EngineProfile:
    """A usual engine of two litres."""
    return EngineProfile(displacement_l=2.0, cylinders=4, induction=induction, air_metering="air-flow sensor")


def two_litres(induction: Induction) -> Engine:
    """That engine as the model builds it."""
    return build(profile(induction))


def asks(**values: float) -> Commands:
    """A sound engine, fuelled as its air needs."""
    return blank(Commands, **({"fuel": -1.0, "spark": 1.0, "filter_factor": 1.0, "exhaust_factor": 1.0} | values))


def driven(
    engine: Engine,
    y: Floats,
    speed: Floats | float,
    throttle: Floats,
    wastegate: Floats | float = 0.0,
    *,
    dt: float = STEP_S,
    outside: Outside = DAY,
    **asked: float,
) -> Floats:
    """The state (n, 13) at each moment of a drive along throttle (%), speed (1/s) and wastegate, begun with `y`."""
    speed, throttle, wastegate = np.broadcast_arrays(*(np.asarray(v, np.float64) for v in (speed, throttle, wastegate)))
    states, air = np.zeros((throttle.size, STATES)), np.zeros((throttle.size, 2))
    along = [np.ascontiguousarray(v) for v in (speed, throttle, wastegate)]
    follow(engine, outside, asks(**asked), dt, *along, y.copy(), states, air, blank(Work), blank(Flows))
    return states


def settled(
    engine: Engine,
    speed: float,
    throttle: float,
    *,
    seconds: float = 5.0,
    rotor: float = 5000.0,
    outside: Outside = DAY,
    coolant_k: float = 360.0,
    dt: float = STEP_S,
    **asked: float,
) -> tuple[Floats, Flows]:
    """State (13,) and flows of an engine that has run so long at one speed (1/s) and opening (%)."""
    y = at_rest(engine, outside, coolant_k)
    y[ROTOR] = rotor
    gate = asked.get("wastegate_0", 0.0)
    level = np.full(round(seconds / dt) + 1, throttle)
    y = driven(engine, y, speed, level, gate, dt=dt, outside=outside, **asked)[-1]
    gates = {"wastegate_0": gate, "wastegate_1": gate}
    commands = asks(**(asked | gates | {"speed": speed, "throttle_0": throttle, "throttle_1": throttle}))
    return y, rates(engine, commands, y, outside=outside)[1]


def rates(
    engine: Engine, commands: Commands, y: Floats, *, when: float = 1.0, outside: Outside = DAY
) -> tuple[Floats, Flows]:
    """Rates of change (13,) of a state, and the flows that make them."""
    dy, slopes, flows = np.zeros(STATES), np.zeros((PRESSURES, 6)), blank(Flows)
    changes(engine, outside, commands, when, y, dy, slopes, flows)
    return dy, flows


def reference(
    engine: Engine, y: Floats, speed: Floats, throttle: Floats, wastegate: Floats, rtol: float, **asked: float
) -> Floats:
    """As `driven`, integrated by scipy's Radau method (order 5, its own step control and slopes)."""
    commands = asks(**asked)
    scale = y.copy()
    scale[M_BURNED], scale[ROTOR] = y[M_MANIFOLD], max(y[ROTOR], 1000.0)
    states = [y.copy()]
    for k in range(1, throttle.size):
        commands.speed = 0.5 * (speed[k - 1] + speed[k])
        commands.throttle_0, commands.throttle_1 = throttle[k - 1], throttle[k]
        commands.wastegate_0, commands.wastegate_1 = wastegate[k - 1], wastegate[k]

        def change(t: float, state: Floats) -> Floats:
            return rates(engine, commands, state, when=t / STEP_S)[0]

        found = solve_ivp(change, (0.0, STEP_S), states[-1], method="Radau", rtol=rtol, atol=rtol * scale)
        assert found.success
        states.append(found.y[:, -1])
    return np.array(states)


def temperatures(engine: Engine, states: Floats) -> Floats:
    """T = p V / (m R) in compressor, charge, manifold, exhaust and pipe volume, K, (..., 5)."""
    return np.stack([states[..., p] * getattr(engine, v) / (states[..., m] * R) for p, m, v, R in VOLUMES], axis=-1)


def openings(area_of: Callable[[float], float]) -> Floats:
    """A throttle's table of effective areas (m2) from a function of the opening (0 to 1)."""
    return np.array([area_of(x) for x in np.linspace(0.0, 1.0, THROTTLE_NODES)])
