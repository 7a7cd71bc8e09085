"""Gas through holes and pipes: printed figures, the formulas of the lower floor, slopes, and no jumps."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from airproof.engine.rehearsal.air.gas import (
    GAMMA_EXHAUST,
    NEARLY_EQUAL,
    R_EXHAUST,
    air_hole,
    hole,
    interpolated,
    nozzle,
    pipe,
)
from airproof.quantities.charge_air import flow_for_pressure_drop, pressure_drop
from airproof.quantities.constants import GAMMA_AIR, R_AIR, STANDARD_PRESSURE
from airproof.quantities.gas_flow import critical_pressure_ratio, flow_function, hole_area, orifice_flow

R = 287.05  # of the printed figures, CHECK_VALUES 7B
areas = st.floats(1e-7, 3e-3)
pressures = st.floats(5e3, 400e3)
temperatures = st.floats(230.0, 1300.0)
resistances = st.floats(1e6, 1e10)
drawn = settings(deadline=None, derandomize=True)


def by_difference(flow_at: Callable[[float], float], p: float) -> float:
    """The slope of a flow by one pressure."""
    step = 1e-5 * p
    return (flow_at(p + step) - flow_at(p - step)) / (2.0 * step)


@pytest.mark.parametrize(("gamma", "printed"), [(1.4, 0.528282), (1.35, 0.536851), (1.3, 0.545728), (5 / 3, 0.487139)])
def test_flow_is_choked_up_to_the_critical_ratio(gamma: float, printed: float) -> None:
    # CHECK_VALUES 7B, textbook relation; found where the pressure behind begins to matter
    below, above = (nozzle(1.0, 1e5, 300.0, 1e5 * (printed + d), R, gamma) for d in (-1e-6, 1e-6))
    assert below[2] == 0.0
    assert above[2] < 0.0


@pytest.mark.parametrize(("gamma", "printed"), [(1.4, 0.684731), (1.3, 0.667262)])
def test_choked_flow_function(gamma: float, printed: float) -> None:
    # CHECK_VALUES 7B; ISO 9300 ideal critical flow function 0.6847
    flow = nozzle(1.0, 1e5, 300.0, 3e4, R, gamma)[0]
    assert flow * np.sqrt(R * 300.0) / 1e5 == pytest.approx(printed, abs=6e-7)


@pytest.mark.parametrize(
    ("ratio", "printed"),
    [(0.6, 0.67692), (0.7, 0.63832), (0.8, 0.56066), (0.9, 0.42258), (0.95, 0.30764), (0.98, 0.19785), (0.99, 0.14066)],
)
def test_flow_function_table(ratio: float, printed: float) -> None:
    # CHECK_VALUES 7B
    flow = nozzle(1.0, 1e5, 300.0, 1e5 * ratio, R, 1.4)[0]
    assert flow * np.sqrt(R * 300.0) / 1e5 == pytest.approx(printed, abs=6e-6)


@pytest.mark.parametrize(("kelvin", "printed"), [(293.15, 239.174), (288.15, 241.240)])
def test_choked_flux(kelvin: float, printed: float) -> None:
    # CHECK_VALUES 7B, kg/(s m2) from one standard atmosphere
    assert nozzle(1.0, STANDARD_PRESSURE, kelvin, 30e3, R, 1.4)[0] == pytest.approx(printed, abs=6e-4)


@pytest.mark.parametrize(
    ("ratio", "printed"),
    [
        (0.3, [0.150, 0.601, 1.352, 2.404, 5.410, 9.618, 15.03]),
        (0.9, [0.093, 0.371, 0.835, 1.484, 3.339, 5.936, 9.274]),
    ],
)
def test_flow_through_round_holes(ratio: float, printed: list[float]) -> None:
    # CHECK_VALUES 7B: g/s through 1 to 10 mm, Cd 0.8, one standard atmosphere at 20 degC
    for diameter, flow in zip([1, 2, 3, 4, 6, 8, 10], printed, strict=True):
        area = 0.8 * float(hole_area(1e-3 * diameter))
        found = 1e3 * air_hole(area, STANDARD_PRESSURE, 293.15, ratio * STANDARD_PRESSURE, 293.15)[0]
        assert found == pytest.approx(flow, abs=5.1e-3 if flow > 10.0 else 5.1e-4)


@drawn
@given(areas, pressures, temperatures, pressures, temperatures, st.booleans())
def test_a_hole_passes_what_the_lower_floor_says(
    area: float, p_1: float, T_1: float, p_2: float, T_2: float, burned: bool
) -> None:
    gas = (R_EXHAUST, GAMMA_EXHAUST) if burned else (R_AIR, GAMMA_AIR)
    flow = hole(area, p_1, T_1, p_2, T_2, *gas)[0]
    exact = orifice_flow(area, p_1, p_2, T_1, 1.0, gas[1], downstream_k=T_2, gas_constant=gas[0])
    if min(p_1, p_2) <= NEARLY_EQUAL * max(p_1, p_2):
        assert flow == pytest.approx(float(exact), rel=1e-9)
    else:  # the chord below the curve: never more than the true flow, and the same way
        assert abs(flow) <= abs(exact) * (1.0 + 1e-9)
        assert flow * exact >= 0.0


@drawn
@given(st.floats(0.0, 1.0), pressures)
def test_nearly_equal_pressures_lose_little(share: float, p: float) -> None:
    # sqrt(u) there is taken as u, of the flow at the edge: never more than a quarter of that is missing
    r = NEARLY_EQUAL + share * (1.0 - NEARLY_EQUAL)
    linear = nozzle(1.0, 1.0, 1.0, r, 1.0, 1.4)[0]
    edge = float(flow_function(NEARLY_EQUAL))
    assert linear == pytest.approx(edge * (1.0 - share), rel=1e-9, abs=1e-12)
    assert 0.0 <= float(flow_function(r)) - linear + 1e-12 < 0.251 * edge


@drawn
@given(areas, pressures, temperatures, pressures, temperatures)
def test_a_hole_has_no_preferred_way(area: float, p_1: float, T_1: float, p_2: float, T_2: float) -> None:
    there, by_1, by_2 = air_hole(area, p_1, T_1, p_2, T_2)
    back, by_2_back, by_1_back = air_hole(area, p_2, T_2, p_1, T_1)
    if p_1 == p_2:
        assert there == back == 0.0
    else:
        assert (there, by_1, by_2) == (-back, -by_1_back, -by_2_back)
        assert (there > 0.0) == (p_1 > p_2)


@drawn
@given(areas, pressures, temperatures, pressures, temperatures)
def test_slopes_of_a_hole(area: float, p_1: float, T_1: float, p_2: float, T_2: float) -> None:
    ratio = min(p_1, p_2) / max(p_1, p_2)
    assume(all(abs(ratio / kink - 1.0) > 2e-5 for kink in (float(critical_pressure_ratio()), NEARLY_EQUAL, 1.0)))
    flow, by_1, by_2 = air_hole(area, p_1, T_1, p_2, T_2)
    size = abs(flow) / min(p_1, p_2)
    assert by_1 == pytest.approx(
        by_difference(lambda p: air_hole(area, p, T_1, p_2, T_2)[0], p_1), rel=1e-4, abs=1e-6 * size
    )
    assert by_2 == pytest.approx(
        by_difference(lambda p: air_hole(area, p_1, T_1, p, T_2)[0], p_2), rel=1e-4, abs=1e-6 * size
    )
    assert by_1 >= 0.0 >= by_2  # more pressure in front never passes less, more behind never more


@pytest.mark.parametrize("kink", [float(critical_pressure_ratio()), NEARLY_EQUAL, 1.0])
def test_flow_has_no_jumps(kink: float) -> None:
    below, above = (air_hole(1e-4, 1e5, 300.0, 1e5 * kink * (1.0 + d), 300.0)[0] for d in (-1e-9, 1e-9))
    assert below == pytest.approx(above, rel=1e-6, abs=1e-8)
    assert below >= above * (1.0 - 1e-12)


@drawn
@given(resistances, pressures, pressures, temperatures, temperatures)
def test_a_pipe_obeys_its_resistance(resistance: float, p_1: float, p_2: float, T_1: float, T_2: float) -> None:
    linear = 200.0
    flow = pipe(resistance, linear, p_1, T_1, p_2, T_2)[0]
    p, T = (p_1, T_1) if p_1 >= p_2 else (p_2, T_2)
    if abs(p_1 - p_2) >= linear:
        assert float(pressure_drop(flow, resistance, p, T)) == pytest.approx(p_1 - p_2, rel=1e-9)
    else:
        at_edge = float(flow_for_pressure_drop(linear, resistance, p, T))
        assert flow == pytest.approx(at_edge * (p_1 - p_2) / linear, rel=1e-9, abs=1e-15)


@drawn
@given(resistances, pressures, st.floats(-0.3, 0.3), temperatures)
def test_slopes_of_a_pipe(resistance: float, p_1: float, share: float, T: float) -> None:
    # the model leaves out that the density changes with the pressure in front: drop / p of the slope
    linear, p_2 = 200.0, p_1 * (1.0 - share)
    drop = abs(p_1 - p_2)
    assume(drop > 1.0)
    assume(abs(drop - linear) > 2e-5 * p_1)
    flow, by_1, by_2 = pipe(resistance, linear, p_1, T, p_2, T)
    left_out = 1e-4 + drop / min(p_1, p_2)
    assert by_1 == pytest.approx(by_difference(lambda p: pipe(resistance, linear, p, T, p_2, T)[0], p_1), rel=left_out)
    assert by_2 == pytest.approx(by_difference(lambda p: pipe(resistance, linear, p_1, T, p, T)[0], p_2), rel=left_out)
    assert (flow > 0.0) == (p_1 > p_2)


@pytest.mark.parametrize("drop", [-200.0, 0.0, 200.0])
def test_a_pipe_has_no_jumps(drop: float) -> None:
    below, above = (pipe(2e8, 200.0, 1e5, 300.0, 1e5 - drop - d, 300.0)[0] for d in (-1e-5, 1e-5))
    assert below == pytest.approx(above, abs=1e-8)
    assert below < above


@drawn
@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=20), st.floats(-5.0, 40.0), st.floats(-3.0, 3.0))
def test_interpolation_is_numpys(values: list[float], x: float, first: float) -> None:
    table = np.array(values)
    nodes = first + 1.5 * np.arange(table.size)
    assert interpolated(table, x, first, 1.5) == pytest.approx(float(np.interp(x, nodes, table)), rel=1e-9, abs=1e-9)


def test_a_value_that_is_not_one_stays_seen() -> None:
    assert np.isnan(air_hole(1e-4, np.nan, 300.0, 1e5, 300.0)[0])
    assert np.isnan(pipe(2e8, 200.0, 1e5, 300.0, np.nan, 300.0)[0])
