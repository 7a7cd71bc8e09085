"""The records of the model: what an engine is made of, what is happening in it, and what is asked of it. SI units."""

from __future__ import annotations

from typing import Annotated

from airproof.engine.rehearsal.records import Floats

THROTTLE_NODES = 101  # effective area at 0, 1, ... 100 % opening
SPEED_NODES, PRESSURE_NODES = 9, 13
SPEED_STEP = 1000.0 / 60.0  # 1/s between nodes of the breathing table, from standing still
PRESSURE_STEP = 20e3  # Pa between its nodes, from nothing

NATURALLY_ASPIRATED, TURBOCHARGED, SUPERCHARGED = 0, 1, 2


class Engine:
    """One engine as it was built, wear and tolerance included."""

    # cylinders
    displacement_m3: float
    cylinders: int
    compression_ratio: float
    breathing: Annotated[Floats, (SPEED_NODES, PRESSURE_NODES)]  # share of the swept volume, burned residue apart
    residual_gas: int  # 1: burned gas left behind takes part of the filling; 0: the table holds it already
    induction: int
    # volumes, m3
    inlet_m3: float
    compressor_m3: float
    charge_m3: float
    manifold_m3: float
    exhaust_m3: float
    pipe_m3: float
    isothermal: int  # 1: the manifold keeps its temperature
    # filter, cooler, exhaust: dp = H T m^2 / p
    filter_resistance: float
    filter_linear_pa: float
    cooler_resistance: float
    cooler_effectiveness: float
    pipe_resistance: float
    linear_pa: float
    # throttle: effective area (m2) over opening
    throttle_m2: Annotated[Floats, THROTTLE_NODES]
    # compressor and turbine
    compressor_m: float  # wheel's outer diameter
    turbine_m: float
    head_most: float
    flow_most: float
    compressor_best: float
    flow_best: float  # share of the largest flow where the compressor is best
    swallow: float  # turbine: m sqrt(T) / p when fully choked
    turbine_best: float
    blade_ratio_best: float
    rotor_inertia: float
    rotor_friction: float  # N m per rad/s
    wastegate_m2: float  # effective, fully open
    flap_holds_pa: float  # pressure across the turbine that the wastegate's actuator can hold; 0: any
    relief_m2: float  # blow-off or bypass valve, effective, fully open
    # driven supercharger
    blower_m3: float  # swept per turn of the crank
    blower_best: float
    # crank
    inertia: float
    friction_pa: float
    friction_per_speed: float  # Pa per 1/s
    indicated: float
    stoichiometric: float
    heating_value: float
    exhaust_share: float  # of the fuel's heat, found in the exhaust gas at full advance
    exhaust_loss: float  # W/K, exhaust manifold to the engine bay
    wall_heat: float  # W/K, manifold wall to charge
    film_share: float  # of injected fuel that wets the walls
    film_time: float  # s


class Outside:
    """What surrounds the engine."""

    pressure: float  # Pa absolute, true
    temperature: float  # K
    wall: float  # K, manifold wall: heat soak
    bay: float  # K, air in the engine bay


class Commands:
    """What acts on the air path during one step; plate and flap move evenly from `_0` to `_1`."""

    speed: float  # 1/s
    throttle_0: float  # opening, %
    throttle_1: float
    wastegate_0: float  # opening, 0 to 1
    wastegate_1: float
    relief: float  # bypass of a supercharger, 0 to 1
    purge: float  # effective area, m2
    fuel: float  # into the cylinders, kg/s; below 0: as much as the air needs
    spark: float  # efficiency of the spark, 0 to 1
    # faults
    leak: float  # effective areas, m2
    boost_leak: float
    recirculation: float
    deposits: float  # m2 taken from the throttle
    filter_factor: float
    exhaust_factor: float
    timing: float  # share of the filling lost at light load by cams out of time


class Flows:
    """Every flow at the end of a step, kg/s, and temperatures, K."""

    inlet: float  # through the filter: what an air flow sensor meters
    compressor: float
    throttle: float
    leak: float
    boost_leak: float
    purge: float
    recirculation: float
    cylinders: float  # all gas drawn
    air: float  # fresh air drawn
    exhaust: float
    turbine: float
    wastegate: float
    tail: float
    charge_k: float
    manifold_k: float
    exhaust_k: float
    burned: float  # share of the manifold's content
    efficiency: float  # volumetric
    compressor_w: float
    turbine_w: float
    blower_w: float
    heat_w: float  # gained from the walls, manifold
    loss_w: float  # lost by exhaust and cooler


# The state of the air path, one vector: pressures (Pa), then contents (kg), then the rotor (rad/s).
P_INLET, P_COMPRESSOR, P_CHARGE, P_MANIFOLD, P_EXHAUST, P_PIPE = 0, 1, 2, 3, 4, 5
M_COMPRESSOR, M_CHARGE, M_MANIFOLD, M_EXHAUST, M_PIPE, M_BURNED, ROTOR = 6, 7, 8, 9, 10, 11, 12
PRESSURES, STATES = 6, 13
