"""Nothing appears and nothing is lost: mass, energy and burned gas, in the rates themselves and over whole drives."""

from __future__ import annotations

import numpy as np
import pytest
from bench import (
    DAY,
    INDUCTIONS,
    STEP_S,
    T_DAY,
    VOLUMES,
    Floats,
    asks,
    driven,
    rates,
    settled,
    temperatures,
    two_litres,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from airproof.engine.rehearsal.air.cylinders import exhaust_temperature
from airproof.engine.rehearsal.air.gas import CP_EXHAUST, GAMMA_EXHAUST
from airproof.engine.rehearsal.air.machinery import (
    M_BURNED,
    M_MANIFOLD,
    P_CHARGE,
    P_INLET,
    P_MANIFOLD,
    PRESSURES,
    ROTOR,
    STATES,
    Commands,
    Engine,
    Flows,
)
from airproof.engine.rehearsal.records import copied
from airproof.knowledge.model import Induction
from airproof.quantities.constants import CP_AIR, GAMMA_AIR, R_AIR

ENGINES = {induction: two_litres(induction) for induction in INDUCTIONS}
PRESENT = {  # which of VOLUMES each kind has: compressor, charge, manifold, exhaust, pipe
    "naturally-aspirated": (1, 2, 3),
    "turbocharged": (0, 1, 2, 3, 4),
    "supercharged": (0, 1, 2, 3),
}
drawn = settings(deadline=None, derandomize=True, max_examples=200)


@st.composite
def moments(draw: st.DrawFn) -> tuple[Induction, Floats, Commands]:
    """Any state, likely or not, and anything asked of it."""
    induction = draw(st.sampled_from(INDUCTIONS))
    engine = ENGINES[induction]
    y = np.zeros(STATES)
    y[P_INLET] = draw(st.floats(60e3, 110e3))
    for p, m, volume, R in VOLUMES:
        y[p] = draw(st.floats(8e3, 300e3))
        T = draw(st.floats(250.0, 500.0) if R == R_AIR else st.floats(400.0, 1300.0))
        y[m] = y[p] * getattr(engine, volume) / (R * T)
    y[M_BURNED] = y[M_MANIFOLD] * draw(st.floats(0.0, 1.0))
    y[ROTOR] = draw(st.floats(0.0, 20000.0))
    throttle, gate = draw(st.floats(0.0, 100.0)), draw(st.floats(0.0, 1.0))
    hole = st.sampled_from([0.0, 1e-6, 1e-5, 1e-4])
    commands = asks(
        speed=draw(st.floats(0.0, 110.0)),
        throttle_0=throttle,
        throttle_1=throttle,
        wastegate_0=gate,
        wastegate_1=gate,
        relief=draw(st.floats(0.0, 1.0)),
        fuel=draw(st.sampled_from([-1.0, 0.0, 2e-3])),
        spark=draw(st.floats(0.3, 1.0)),
        leak=draw(hole),
        boost_leak=draw(hole),
        recirculation=draw(hole),
        purge=draw(hole),
        deposits=draw(st.sampled_from([0.0, 3e-6])),
        timing=draw(st.sampled_from([0.0, 0.2])),
    )
    return induction, y, commands


def inlet_kg(engine: Engine, p: Floats | float) -> Floats | float:
    """Content of the inlet, which keeps the outside's temperature; 0 where there is none before a compressor."""
    return p * engine.inlet_m3 / (R_AIR * T_DAY) if engine.induction > 0 else 0.0 * p


def crosses(flows: Flows) -> Floats:
    """Every flow over the engine's border, kg/s, out of it counted below 0: air, then fuel, then exhaust."""
    air = [flows.inlet, flows.leak, flows.purge, -flows.boost_leak]
    return np.array([*air, flows.exhaust - flows.cylinders, -flows.tail])


@drawn
@given(moments())
def test_mass_changes_by_what_crosses_the_border(moment: tuple[Induction, Floats, Commands]) -> None:
    induction, y, commands = moment
    engine = ENGINES[induction]
    dy, flows = rates(engine, commands, y)
    gained = [dy[VOLUMES[k][1]] for k in PRESENT[induction]] + [inlet_kg(engine, dy[P_INLET])]
    crossing = crosses(flows)
    size = np.abs(gained).sum() + np.abs(crossing).sum()
    assert sum(gained) == pytest.approx(crossing.sum(), abs=1e-10 * size)
    absent = set(range(5)) - set(PRESENT[induction])
    assert all(dy[VOLUMES[k][0]] == dy[VOLUMES[k][1]] == 0.0 for k in absent)


def energy_j(engine: Engine, induction: Induction, p: Floats) -> Floats:
    """Energy p V / (gamma - 1) in all volumes but the inlet, whose temperature is given, (..., )."""
    return sum(
        p[..., place] * getattr(engine, volume) / ((GAMMA_AIR if R == R_AIR else GAMMA_EXHAUST) - 1.0)
        for place, _, volume, R in (VOLUMES[k] for k in PRESENT[induction])
    )


def heats(engine: Engine, induction: Induction, y: Floats, dy: Floats, flows: Flows, spark: float) -> Floats:
    """Everything that changes that energy, W.

    Flows from volume to volume carry their enthalpy and cancel, but for shaft work, heat, and the cylinders, which turn
    fuel into hotter gas.
    """
    T_c, T_i, T_m, T_e, T_p = temperatures(engine, y)
    enters = [(flows.leak, T_DAY, T_m), (flows.purge, T_DAY, T_m), (-flows.boost_leak, T_DAY, T_i)]
    if induction == "naturally-aspirated":
        enters.append((flows.inlet, T_DAY, T_i))
    else:
        back = inlet_kg(engine, dy[P_INLET]) - flows.inlet + flows.compressor  # through the relief valve to the inlet
        enters += [(flows.compressor, T_DAY, T_c), (-back, T_DAY, T_c)]
    brings = [flow * CP_AIR * (outer if flow >= 0.0 else inner) for flow, outer, inner in enters]
    brings.append(-flows.tail * CP_EXHAUST * (T_p if induction == "turbocharged" else T_e))
    T_x = exhaust_temperature(engine, T_m, flows.cylinders, flows.air, flows.exhaust - flows.cylinders, spark)
    burns = flows.exhaust * CP_EXHAUST * T_x - flows.cylinders * CP_AIR * T_m
    # recirculated gas is reckoned as air once it is in the manifold, and half its heat is left behind
    T_back, T_gone = (0.5 * (T_e + T_m), T_e) if flows.recirculation >= 0.0 else (T_m, T_m)
    passage = flows.recirculation * (CP_AIR * T_back - CP_EXHAUST * T_gone)
    works = flows.compressor_w + flows.blower_w - flows.turbine_w
    return np.array([*brings, burns, passage, works, flows.heat_w, -flows.loss_w])


@drawn
@given(moments())
def test_energy_changes_by_what_crosses_the_border(moment: tuple[Induction, Floats, Commands]) -> None:
    induction, y, commands = moment
    engine = ENGINES[induction]
    dy, flows = rates(engine, commands, y)
    terms = heats(engine, induction, y, dy, flows, commands.spark)
    size = energy_j(engine, induction, np.abs(dy)) + np.abs(terms).sum()
    assert energy_j(engine, induction, dy) == pytest.approx(terms.sum(), abs=1e-10 * size)


@drawn
@given(moments())
def test_shaft_work_comes_from_the_turbine(moment: tuple[Induction, Floats, Commands]) -> None:
    induction, y, commands = moment
    engine = ENGINES[induction]
    dy, flows = rates(engine, commands, y)
    if induction == "turbocharged" and y[ROTOR] > 100.0:
        spent = engine.rotor_friction * y[ROTOR] ** 2
        gained = engine.rotor_inertia * y[ROTOR] * dy[ROTOR]
        assert gained + spent == pytest.approx(flows.turbine_w - flows.compressor_w, rel=1e-9, abs=1e-6)
    else:
        assert flows.turbine_w == 0.0 or y[ROTOR] <= 100.0


@drawn
@given(moments())
def test_gas_runs_downhill(moment: tuple[Induction, Floats, Commands]) -> None:
    induction, y, commands = moment
    flows = rates(ENGINES[induction], commands, y)[1]
    assert flows.throttle * (y[P_CHARGE] - y[P_MANIFOLD]) >= 0.0
    assert flows.leak * (DAY.pressure - y[P_MANIFOLD]) >= 0.0
    assert flows.boost_leak * (y[P_CHARGE] - DAY.pressure) >= 0.0
    assert flows.purge >= 0.0
    assert flows.turbine >= 0.0


@drawn
@given(moments())
def test_the_manifold_mixture_leaves_as_it_is(moment: tuple[Induction, Floats, Commands]) -> None:
    # every way out takes burned gas and fresh air in the proportion they have; only recirculation brings burned gas
    induction, y, commands = moment
    dy, flows = rates(ENGINES[induction], commands, y)
    share = y[M_BURNED] / y[M_MANIFOLD]
    fresh = sum(max(flow, 0.0) for flow in (flows.throttle, flows.leak, flows.purge))
    brought = max(flows.recirculation, 0.0)
    share_changes = (dy[M_BURNED] - share * dy[M_MANIFOLD]) / y[M_MANIFOLD]
    expected = (brought * (1.0 - share) - fresh * share) / y[M_MANIFOLD]
    passed = brought + fresh + flows.cylinders + 1e-6  # where nothing flows, the last digits of what is stored remain
    assert share_changes == pytest.approx(expected, rel=1e-9, abs=1e-9 * passed / y[M_MANIFOLD])


def test_an_isothermal_manifold_keeps_its_temperature() -> None:
    engine = copied(ENGINES["naturally-aspirated"], isothermal=1)
    y, _ = settled(engine, 30.0, 5.0, coolant_k=300.0)
    states = driven(engine, y, 30.0, np.interp(np.arange(60), [0, 10, 20, 40], [5.0, 80.0, 80.0, 2.0]), leak=1e-5)
    kept = temperatures(engine, states)[:, 2]
    assert kept == pytest.approx(kept[0], rel=1e-9)


# Courses of random drives: what the throttle, the speed and the wastegate are asked, at moments 0.1 s apart.
PIECES = 6


@st.composite
def drives(draw: st.DrawFn) -> tuple[Induction, Floats, Floats, Floats, dict[str, float]]:
    def course(values: st.SearchStrategy[float]) -> Floats:
        points = draw(st.lists(values, min_size=PIECES + 1, max_size=PIECES + 1))
        return np.interp(np.arange(10 * PIECES + 1), 10 * np.arange(PIECES + 1), points)

    induction = draw(st.sampled_from(INDUCTIONS))
    throttle = course(st.sampled_from([0.0, 1.0, 3.0, 10.0, 40.0, 100.0]))
    faults = {
        "leak": draw(st.sampled_from([0.0, 1e-5, 1e-4])),
        "boost_leak": draw(st.sampled_from([0.0, 1e-4])),
        "recirculation": draw(st.sampled_from([0.0, 3e-5])),
        "purge": draw(st.sampled_from([0.0, 2e-6])),
        "relief": draw(st.floats(0.0, 1.0)),
        "fuel": draw(st.sampled_from([-1.0, 0.0])),
    }
    return induction, course(st.floats(10.0, 110.0)), throttle, course(st.floats(0.0, 1.0)), faults


def held_at(now: list[float], faults: dict[str, float]) -> Commands:
    """Commands that hold a moment's speed, throttle and wastegate."""
    speed, throttle, gate = now
    plates = {"throttle_0": throttle, "throttle_1": throttle, "wastegate_0": gate, "wastegate_1": gate}
    return asks(speed=speed, **plates, **faults)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(drives(), st.floats(500.0, 15000.0))
def test_whatever_is_asked_the_gas_stays_gas(
    drive: tuple[Induction, Floats, Floats, Floats, dict[str, float]], rotor: float
) -> None:
    induction, speed, throttle, gate, faults = drive
    engine = ENGINES[induction]
    y, _ = settled(engine, speed[0], throttle[0], seconds=1.0, rotor=rotor, wastegate_0=gate[0], **faults)
    states = driven(engine, y, speed, throttle, gate, **faults)
    assert np.all(np.isfinite(states))
    assert np.all(states[:, :M_BURNED] > 0.0)
    there = temperatures(engine, states)[:, PRESENT[induction]]
    # no colder than by isentropic expansion, from outside's temperature and the highest pressure to the lowest
    pressures = states[:, :PRESSURES]
    assert there.min() > 0.95 * T_DAY * (pressures.min() / pressures.max()) ** ((GAMMA_AIR - 1.0) / GAMMA_AIR)
    assert there.max() < 1400.0
    burned = states[:, M_BURNED] / states[:, M_MANIFOLD]
    assert burned.min() >= 0.0
    assert burned.max() <= 1.0
    for state, *now in zip(states, speed, throttle, gate, strict=True):
        flows = rates(engine, held_at(now, faults), state)[1]
        assert flows.throttle * (state[P_CHARGE] - state[P_MANIFOLD]) >= 0.0


@settings(deadline=None, derandomize=True, max_examples=8)
@given(drives())
def test_mass_and_energy_over_a_drive_are_the_sums_of_their_flows(
    drive: tuple[Induction, Floats, Floats, Floats, dict[str, float]],
) -> None:
    # steps fifty times finer than the control unit's, for the sum by trapezoids
    induction, speed, throttle, gate, faults = drive
    engine = ENGINES[induction]
    fine = 50
    at = np.arange(fine * (speed.size - 1) + 1) / fine
    along = [np.interp(at, np.arange(speed.size), course) for course in (np.full(speed.size, speed[0]), throttle, gate)]
    y, _ = settled(engine, speed[0], throttle[0], seconds=1.0, wastegate_0=gate[0], **faults)
    states = driven(engine, y, *along, dt=STEP_S / fine, **faults)
    crossing, heating = [], []
    for state, *now in zip(states, *along, strict=True):
        dy, flows = rates(engine, held_at(now, faults), state)
        crossing.append(crosses(flows))
        heating.append(heats(engine, induction, state, dy, flows, 1.0))
    contents = states[:, [VOLUMES[k][1] for k in PRESENT[induction]]].sum(axis=1) + inlet_kg(engine, states[:, P_INLET])
    for held, rate in ((contents, crossing), (energy_j(engine, induction, states), heating)):
        through = np.trapezoid(np.array(rate), dx=STEP_S / fine, axis=0)
        assert held[-1] - held[0] == pytest.approx(through.sum(), abs=2e-4 * np.abs(through).max())
