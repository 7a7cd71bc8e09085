"""The air path as volumes that fill and empty, and passages between them: how fast everything changes.

    outside - filter - [inlet] - compressor - [compressor] - cooler - [charge] - throttle - [manifold] - valves -
    cylinders - [exhaust] - turbine and wastegate - [pipe] - catalyst and muffler - outside

Each volume keeps its mass and its energy: dm/dt = sum of flows, dp/dt = (g - 1)/V sum of enthalpy flows and heat, and
T = p V / (m R). Without a compressor the filter feeds the charge volume, and without a turbine the cylinders blow into
the pipe. SI units, pressures absolute.
"""

from __future__ import annotations

import numpy as np

from airproof.engine.rehearsal.air.charging import blower, compressor, turbine
from airproof.engine.rehearsal.air.cylinders import drawn, exhaust_temperature
from airproof.engine.rehearsal.air.gas import (
    CP_EXHAUST,
    GAMMA_EXHAUST,
    R_EXHAUST,
    air_hole,
    hole,
    interpolated,
    pipe,
)
from airproof.engine.rehearsal.air.machinery import (
    M_BURNED,
    M_CHARGE,
    M_COMPRESSOR,
    M_EXHAUST,
    M_MANIFOLD,
    M_PIPE,
    NATURALLY_ASPIRATED,
    P_CHARGE,
    P_COMPRESSOR,
    P_EXHAUST,
    P_INLET,
    P_MANIFOLD,
    P_PIPE,
    PRESSURES,
    ROTOR,
    STATES,
    TURBOCHARGED,
    Commands,
    Engine,
    Flows,
    Outside,
)
from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.records import Floats
from airproof.quantities.constants import CP_AIR, GAMMA_AIR, R_AIR

# Places in a row of `slopes`: the pressure's rate by three pressures, then the content's.
BEFORE, OWN, NEXT, CONTENT_BEFORE, CONTENT_OWN, CONTENT_NEXT = 0, 1, 2, 3, 4, 5
CONTENT = M_COMPRESSOR - P_COMPRESSOR  # from the place of a pressure in the state to that of its volume's content
_LIFTS_AT, _LIFTS_OVER = 35e3, 15e3  # Pa across the throttle that lift a blow-off valve off its seat, and then fully


@compiled
def enters(slopes: Floats, dy: Floats, k: int, flow: float, by_own: float, brings: float) -> None:
    """A flow (kg/s) from outside into volume `k`, with its slope by the pressure there.

    It raises that pressure by `brings` Pa/kg.
    """
    dy[k] += brings * flow
    slopes[k, OWN] += brings * by_own
    if k > P_INLET:
        dy[CONTENT + k] += flow
        slopes[k, CONTENT_OWN] += by_own


@compiled
def passes(
    slopes: Floats, dy: Floats, k: int, flow: float, by_own: float, by_next: float, takes: float, brings: float
) -> None:
    """A flow (kg/s) from volume `k` to the next, with its slopes by their pressures.

    It lowers the one pressure by `takes` and raises the other by `brings`, Pa/kg.
    """
    enters(slopes, dy, k, -flow, -by_own, takes)
    enters(slopes, dy, k + 1, flow, by_next, brings)
    slopes[k, NEXT] -= takes * by_next
    slopes[k + 1, BEFORE] += brings * by_own
    slopes[k + 1, CONTENT_BEFORE] += by_own
    if k > P_INLET:
        slopes[k, CONTENT_NEXT] -= by_next


@compiled
def changes(
    engine: Engine,
    outside: Outside,
    commands: Commands,
    when: float,
    y: Floats,
    dy: Floats,
    slopes: Floats,
    flows: Flows,
) -> None:
    """Rates of change `dy` (13,) of the state `y` (13,), at a share `when` (0 to 1) of the step.

    `slopes` (6, 6) receives how the pressures act: a row for each volume, first on the rate of its pressure, then on
    that of its content, each by the pressure before, its own and the next (two banded matrices). `flows` receives every
    flow.
    """
    p_0, T_0 = outside.pressure, outside.temperature
    speed = commands.speed
    slopes[:] = 0.0
    dy[:] = 0.0

    p_i, p_m, p_e = y[P_CHARGE], y[P_MANIFOLD], y[P_EXHAUST]
    T_i = p_i * engine.charge_m3 / (y[M_CHARGE] * R_AIR)
    T_m = p_m * engine.manifold_m3 / (y[M_MANIFOLD] * R_AIR)
    T_e = p_e * engine.exhaust_m3 / (y[M_EXHAUST] * R_EXHAUST)
    per_i = (GAMMA_AIR - 1.0) * CP_AIR / engine.charge_m3
    per_m = (GAMMA_AIR - 1.0) * CP_AIR / engine.manifold_m3
    per_e = (GAMMA_EXHAUST - 1.0) * CP_EXHAUST / engine.exhaust_m3

    # from outside to the charge volume
    resistance = engine.filter_resistance * commands.filter_factor
    if engine.induction == NATURALLY_ASPIRATED:
        inlet, a, b = pipe(resistance, engine.filter_linear_pa, p_0, T_0, p_i, T_i)
        enters(slopes, dy, P_CHARGE, inlet, b, per_i * (T_0 if inlet >= 0.0 else T_i))
        flows.inlet, flows.compressor, flows.compressor_w, flows.blower_w = inlet, inlet, 0.0, 0.0
        flows.loss_w = 0.0
    else:
        p_f, p_c = y[P_INLET], y[P_COMPRESSOR]
        T_f = T_0  # the inlet is short and cool: it keeps the outside's temperature
        T_c = p_c * engine.compressor_m3 / (y[M_COMPRESSOR] * R_AIR)
        per_f = R_AIR * T_f / engine.inlet_m3
        per_c = (GAMMA_AIR - 1.0) * CP_AIR / engine.compressor_m3
        inlet, a, b = pipe(resistance, engine.filter_linear_pa, p_0, T_0, p_f, T_f)
        enters(slopes, dy, P_INLET, inlet, b, per_f)

        if engine.induction == TURBOCHARGED:
            pumped, a, b, T_out, power = compressor(engine, y[ROTOR], p_f, T_f, p_c, T_c)
            flows.compressor_w, flows.blower_w = power, 0.0
            lift = min(max((p_i - p_m - _LIFTS_AT) / _LIFTS_OVER, 0.0), 1.0)
        else:
            pumped, a, b, T_out, power = blower(engine, speed, p_f, T_f, p_c)
            flows.compressor_w, flows.blower_w = 0.0, power
            lift = commands.relief
        passes(slopes, dy, P_INLET, pumped, a, b, per_f, per_c * (T_out if pumped >= 0.0 else T_c))

        cooled, a, b = pipe(engine.cooler_resistance, engine.linear_pa, p_c, T_c, p_i, T_i)
        T_cold = T_c - engine.cooler_effectiveness * (T_c - T_0) if cooled >= 0.0 else T_i
        T_left = T_c if cooled >= 0.0 else T_i
        passes(slopes, dy, P_COMPRESSOR, cooled, a, b, per_c * T_left, per_i * T_cold)
        flows.loss_w = cooled * CP_AIR * (T_left - T_cold)

        # the valve that lets charge air back to the inlet: over the throttle's shoulder, or round the blower
        back, a, b = air_hole(engine.relief_m2 * lift, p_f, T_f, p_c, T_c)
        passes(slopes, dy, P_INLET, back, a, b, per_f, per_c * (T_f if back >= 0.0 else T_c))
        flows.inlet, flows.compressor = inlet, pumped

    escaped, a, b = air_hole(commands.boost_leak, p_i, T_i, p_0, T_0)
    enters(slopes, dy, P_CHARGE, -escaped, -a, per_i * (T_i if escaped >= 0.0 else T_0))

    # past the throttle
    opening = commands.throttle_0 + when * (commands.throttle_1 - commands.throttle_0)
    area = max(interpolated(engine.throttle_m2, opening, 0.0, 1.0) - commands.deposits, 0.3e-6)
    throttled, a, b = air_hole(area, p_i, T_i, p_m, T_m)
    T_t = T_i if throttled >= 0.0 else T_m
    passes(slopes, dy, P_CHARGE, throttled, a, b, per_i * T_t, per_m * T_t)

    # what else enters the manifold
    leak, a, b = air_hole(commands.leak, p_0, T_0, p_m, T_m)
    enters(slopes, dy, P_MANIFOLD, leak, b, per_m * (T_0 if leak >= 0.0 else T_m))
    purged, returned = 0.0, 0.0
    if p_m < p_0:  # the purge valve holds against boost
        purged, a, b = air_hole(commands.purge, p_0, T_0, p_m, T_m)
        enters(slopes, dy, P_MANIFOLD, purged, b, per_m * T_0)
    if commands.recirculation > 0.0:
        returned, a, b = hole(commands.recirculation, p_e, T_e, p_m, T_m, R_EXHAUST, GAMMA_EXHAUST)
        T_back = 0.5 * (T_e + T_m) if returned >= 0.0 else T_m  # half its heat stays in the passage
        T_gone = T_e if returned >= 0.0 else T_m
        passes(slopes, dy, P_MANIFOLD, -returned, -b, -a, per_m * T_back, per_e * T_gone)

    # into the cylinders, and out of them
    efficiency = drawn(engine, speed, p_m, p_e, commands.timing)
    cylinders = efficiency * p_m * engine.displacement_m3 * speed / (2.0 * R_AIR * T_m)
    burned = y[M_BURNED] / y[M_MANIFOLD]
    air = cylinders * (1.0 - burned)
    fuel = commands.fuel if commands.fuel >= 0.0 else air / engine.stoichiometric
    T_x = exhaust_temperature(engine, T_m, cylinders, air, fuel, commands.spark)
    passes(slopes, dy, P_MANIFOLD, cylinders, cylinders / p_m, 0.0, per_m * T_m, per_e * T_x)
    enters(slopes, dy, P_EXHAUST, fuel, 0.0, per_e * T_x)
    left = cylinders + max(-returned, 0.0) + max(-throttled, 0.0) + max(-leak, 0.0)  # all of the same mixture
    dy[M_BURNED] = max(returned, 0.0) - burned * left
    heat = engine.wall_heat * (outside.wall - T_m)
    dy[P_MANIFOLD] += per_m * heat / CP_AIR
    if engine.isothermal == 1:  # the walls hold the temperature whatever flows
        dy[P_MANIFOLD] = T_m * R_AIR / engine.manifold_m3 * dy[M_MANIFOLD]
        for k in range(3):
            slopes[P_MANIFOLD, k] = T_m * R_AIR / engine.manifold_m3 * slopes[P_MANIFOLD, CONTENT_BEFORE + k]
    lost = engine.exhaust_loss * (T_e - outside.bay)
    dy[P_EXHAUST] -= per_e * lost / CP_EXHAUST

    tail_resistance = engine.pipe_resistance * commands.exhaust_factor
    if engine.induction == TURBOCHARGED:
        p_t = y[P_PIPE]
        T_p = p_t * engine.pipe_m3 / (y[M_PIPE] * R_EXHAUST)
        per_t = (GAMMA_EXHAUST - 1.0) * CP_EXHAUST / engine.pipe_m3
        spun, a, b, T_out, power = turbine(engine, y[ROTOR], p_e, T_e, p_t)
        passes(slopes, dy, P_EXHAUST, spun, a, b, per_e * T_e, per_t * T_out)
        gate = commands.wastegate_0 + when * (commands.wastegate_1 - commands.wastegate_0)
        past, a, b = hole(engine.wastegate_m2 * gate, p_e, T_e, p_t, T_p, R_EXHAUST, GAMMA_EXHAUST)
        T_past = T_e if past >= 0.0 else T_p
        passes(slopes, dy, P_EXHAUST, past, a, b, per_e * T_past, per_t * T_past)
        tail, a, b = pipe(tail_resistance, engine.linear_pa, p_t, T_p, p_0, T_p)
        enters(slopes, dy, P_PIPE, -tail, -a, per_t * T_p)
        omega = max(y[ROTOR], 100.0)
        dy[ROTOR] = ((power - flows.compressor_w) / omega - engine.rotor_friction * y[ROTOR]) / engine.rotor_inertia
        flows.turbine, flows.wastegate, flows.turbine_w = spun, past, power
    else:
        tail, a, b = pipe(tail_resistance, engine.linear_pa, p_e, T_e, p_0, T_e)
        enters(slopes, dy, P_EXHAUST, -tail, -a, per_e * T_e)
        flows.turbine, flows.wastegate, flows.turbine_w = 0.0, 0.0, 0.0

    flows.throttle, flows.leak, flows.boost_leak, flows.purge = throttled, leak, escaped, purged
    flows.recirculation, flows.cylinders, flows.air, flows.burned = returned, cylinders, air, burned
    flows.exhaust, flows.tail, flows.efficiency, flows.heat_w = cylinders + fuel, tail, efficiency, heat
    flows.charge_k, flows.manifold_k, flows.exhaust_k = T_i, T_m, T_e
    flows.loss_w += lost


def at_rest(engine: Engine, outside: Outside, coolant_k: float) -> Floats:
    """The state (13,) of an engine that stands: the pressure of outside everywhere."""
    y: Floats = np.zeros(STATES)
    y[:PRESSURES] = outside.pressure
    p, T = outside.pressure, outside.temperature
    warm = T + 0.3 * (coolant_k - T)
    volumes = (engine.compressor_m3, engine.charge_m3, engine.manifold_m3, engine.exhaust_m3, engine.pipe_m3)
    for k, (volume, at, R) in enumerate(
        zip(volumes, (T, T, warm, warm, warm), 3 * (R_AIR,) + 2 * (R_EXHAUST,), strict=True)
    ):
        y[M_COMPRESSOR + k] = p * volume / (R * at)
    return y
