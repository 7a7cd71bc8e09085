"""The records around the air path: the car and its sensors, what its maker taught the control unit, and its memory.

SI units and absolute pressures inside the model, but trims, openings and loads in % as the trade counts them.
"""

from __future__ import annotations

from typing import Annotated

from airproof.engine.rehearsal.records import Floats

BY_AIR_FLOW, BY_SPEED_DENSITY, BY_BOTH = 0, 1, 2
BARO_OWN, BARO_KEY_ON, BARO_BOTH = 0, 1, 2
GEARS = 6
CELLS = 4  # of the long trims: idle, then light, middle and high air flow
DELAY = 128  # steps of the exhaust gas's way to the lambda sensor that are kept


class Car:
    """The car around the engine, and its sensors as built: each with its line, lag, noise and tolerance."""

    # road
    mass: float
    drag_m2: float
    rolling: float
    wheel_m: float
    final_drive: float
    gears: Annotated[Floats, GEARS]
    brisk: float  # how hard the driver's foot is, 1 the usual one
    # pressure sensors: V = supply (a p + b), a per Pa
    map_a: float
    map_b: float
    boost_a: float
    boost_b: float
    pulse: float  # pressure swing at the firing frequency, share of the manifold pressure at idle
    # tolerances: Pa, share or K
    map_zero: float
    boost_zero: float
    baro_zero: float
    maf_factor: float
    injector_factor: float
    breathing_factor: float
    throttle_factor: float
    iat_zero: float
    # noise, standard deviations: Pa, share
    map_noise: float
    maf_noise: float
    maf_lag: float
    iat_lag: float
    lambda_lag: float
    warm_k: float  # thermostat
    purge_m2: float  # purge valve fully open
    purge_vapour: float  # fuel in the purge flow, share of mass
    egr_m2: float  # recirculation valve fully open, effective; 0: the engine has none


class Sensors:
    """What the sensors are doing: their lags, and what they tell the control unit now."""

    map_lagged: float  # Pa
    map_filtered: float
    boost_filtered: float
    maf_lagged: float  # kg/s
    iat_lagged: float  # K
    lambda_lagged: float
    broken_for: float  # s that the contact stays broken
    phase: float  # of the firing, radians
    gas: Annotated[Floats, DELAY]  # lambda of the exhaust leaving the valves, newest at `at`
    at: int
    # told
    map_v: float  # volts at the control unit's pin
    boost_v: float
    supply: float  # V of the sensors' supply
    manifold: float  # Pa, as read through the maker's line
    charge: float
    barometer: float
    air_flow: float  # kg/s
    intake: float  # K
    speed: float  # 1/s
    lam: float


class Maker:
    """What the maker taught the control unit: its own engine in numbers, and its targets."""

    metering: int
    barometer: int
    map_a: float
    map_b: float
    boost_a: float
    boost_b: float
    idle_speed: float  # 1/s
    rated_boost: float  # Pa gauge
    rated_air: float  # kg/s
    back_pressure: float  # Pa at rated air
    gate: Annotated[Floats, 9]  # wastegate (or bypass) opening that gives rated boost, by speed as the breathing table
    idle_air: float  # kg/s
    rich: float  # lambda at full load
    egr_m2: float


class Memory:
    """What the control unit keeps over key-off: what it has learnt."""

    long_trims: Annotated[Floats, CELLS]
    idle_air: float  # kg/s
    barometer: float  # Pa


class ControlUnit:
    """What the control unit thinks and does now."""

    now: float  # s of this drive
    running: float  # s since the engine fired
    coolant: float  # K
    # pressures and air as it believes them
    manifold: float
    charge: float
    barometer: float
    intake: float
    baro_doubted: int  # with two sources of it: 1 its own sensor is not believed
    recirculated: float  # kg/s of exhaust gas it has asked for
    density_air: float  # kg/s by speed-density
    slow_density: float
    slow_flow: float
    throttle_air: float  # kg/s by throttle and speed alone
    expected: float  # Pa in the manifold by throttle and speed alone
    air: float  # kg/s it doses fuel for
    distrusts: int  # with both meters: 1 the air flow sensor, 2 the pressure sensor, 0 neither
    doubt: float  # s for which they have disagreed
    # throttle, idle, boost
    pedal: float
    idling: int
    idle_sum: float
    idle_up: float  # 1/s that the air conditioning has the idle raised by
    opening: float  # the plate, %
    asked_opening: float
    wish: float
    charge_target: float
    charge_before: float
    charge_rate: float  # kPa/s
    gate: float  # commanded, 0 to 1
    gate_true: float
    gate_sum: float
    limit: float  # of the throttle, 0 to 1
    boost_off: int
    spark: float
    # fuel
    target: float
    closed_loop: int
    waited: float  # s since the loop may close
    short_trim: float
    cell: int
    cut: int
    lifted: float  # s since the foot left the pedal
    film: float  # kg on the port's walls
    film_thought: float
    asked_fuel: float
    fuel: float  # into the cylinders
    purge: float  # command, 0 to 1
    egr: float  # command, 0 to 1
    misfires: float
    fires: float
    map_bad: int  # circuit faults it has decided on
    learns: float  # how much faster than usual it learns


class Motion:
    """Crank, gears and road."""

    speed: float  # crank, 1/s
    road: float  # m/s
    gear: int
    shifting: float
    wish: float
    habit: float
    pedal: float
    clutched: int
    torque: float  # N m at the crank
    starter: int
    # what disturbs now (unrest)
    load: float  # N m of the accessories
    slope: float  # share of the weight
    foot: float  # share of the pedal's travel
    richer: float  # share of the fuel
