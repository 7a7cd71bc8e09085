"""The sensors: the truth through each one's line, lag, noise and fault, as the control unit reads it."""

from __future__ import annotations

import math

import numpy as np

from airproof.engine.rehearsal.air.machinery import Flows, Outside
from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.faults import (
    BARO_SENSOR,
    BOOST_SENSOR_SCALE,
    CONTROL_UNIT,
    IAT_OFFSET,
    MAF_SCALE,
    MAP_CIRCUIT,
    MAP_GAIN,
    MAP_INTERMITTENT,
    MAP_OFFSET,
    MAP_SLOW,
    MAP_STUCK,
    SUPPLY_REFERENCE,
    Faults,
)
from airproof.engine.rehearsal.records import Floats
from airproof.engine.rehearsal.road.car import DELAY, Car, Maker, Sensors

SUPPLY = 5.0
_STEP_V = SUPPLY / 1023.0  # ten-bit converter, common in control units (common practice, no source)
_LOWEST, _HIGHEST = 0.08, 4.86  # V between which a live sensor's output stays (common practice, no source)
_ELEMENT = 0.010  # s, answer of a sound sensor and its port (published sheets: 1 ms for the element alone)
_FILTER = 0.030  # s, the control unit's own smoothing over the pulses


@compiled
def read(
    car: Car, sensors: Sensors, faults: Faults, outside: Outside, flows: Flows, p_manifold: float, p_charge: float,
    speed: float, cylinders: int, dt: float,
) -> None:  # fmt: skip
    """One reading of every sensor. Draws the same number of random values whatever the fault, so that a healthy and a
    faulty drive of one seed differ by the fault alone.
    """
    now = faults.now
    noise_map, noise_boost, noise_maf, chance, lasts = (
        np.random.normal(), np.random.normal(), np.random.normal(), np.random.random(), np.random.random(),
    )  # fmt: skip
    sensors.supply = SUPPLY + now[SUPPLY_REFERENCE]

    # manifold pressure
    sensors.phase = (sensors.phase + math.pi * speed * cylinders * dt) % (2.0 * math.pi)
    swing = car.pulse * p_manifold * 4.0 / cylinders * 15.0 / (15.0 + speed) if speed > 1.0 else 0.0
    true = p_manifold + swing * math.sin(sensors.phase) + car.map_noise * noise_map
    sensors.map_lagged += (true - sensors.map_lagged) * (1.0 - math.exp(-dt / max(now[MAP_SLOW], _ELEMENT)))
    seen = (sensors.map_lagged + car.map_zero) * (1.0 + 0.01 * now[MAP_GAIN]) + 1e3 * now[MAP_OFFSET]
    if now[MAP_STUCK] > 0.0:
        seen = 1e3 * now[MAP_STUCK]
    volts = sensors.supply * (car.map_a * seen + car.map_b)
    volts = min(max(volts, _LOWEST), _HIGHEST)
    rate = now[MAP_INTERMITTENT]
    if rate > 0.0 and sensors.broken_for <= 0.0 and chance < rate * dt:
        sensors.broken_for = 0.1 + 0.5 * lasts
    sensors.broken_for -= dt
    if sensors.broken_for > 0.0 or now[MAP_CIRCUIT] == 1.0:
        volts = 0.01
    elif now[MAP_CIRCUIT] == 2.0:
        volts = 4.99
    volts *= 1.0 + 0.01 * now[CONTROL_UNIT]
    sensors.map_v = math.floor(volts / _STEP_V + 0.5) * _STEP_V

    # charge pressure, barometer
    volts = sensors.supply * (
        car.boost_a
        * ((p_charge + car.boost_zero + car.map_noise * noise_boost) * (1.0 + 0.01 * now[BOOST_SENSOR_SCALE]))
        + car.boost_b
    )
    sensors.boost_v = math.floor(min(max(volts, _LOWEST), _HIGHEST) / _STEP_V + 0.5) * _STEP_V
    sensors.barometer = outside.pressure + car.baro_zero + 1e3 * now[BARO_SENSOR]

    # air flow, temperature, speed
    sensors.maf_lagged += (max(flows.inlet, 0.0) - sensors.maf_lagged) * dt / car.maf_lag
    told = sensors.maf_lagged * car.maf_factor * (1.0 + 0.01 * now[MAF_SCALE]) * (1.0 + car.maf_noise * noise_maf)
    sensors.air_flow = max(told, 0.0)
    sensors.iat_lagged += (flows.manifold_k - sensors.iat_lagged) * dt / car.iat_lag
    sensors.intake = min(max(sensors.iat_lagged + car.iat_zero + now[IAT_OFFSET], 233.15), 413.15)
    sensors.speed = speed


@compiled
def convert(maker: Maker, sensors: Sensors, dt: float) -> None:
    """Volts to pressures by the maker's lines, smoothed over the pulses."""
    by_map = (sensors.map_v / SUPPLY - maker.map_b) / maker.map_a
    sensors.map_filtered += (by_map - sensors.map_filtered) * (1.0 - math.exp(-dt / _FILTER))
    sensors.manifold = max(sensors.map_filtered, 0.0)
    by_boost = (sensors.boost_v / SUPPLY - maker.boost_b) / maker.boost_a
    sensors.boost_filtered += (by_boost - sensors.boost_filtered) * (1.0 - math.exp(-dt / _FILTER))
    sensors.charge = max(sensors.boost_filtered, 0.0)


@compiled
def smell(car: Car, sensors: Sensors, leaving: float, speed: float, dt: float) -> None:
    """The lambda sensor: `leaving` is the lambda at the valves now; the gas takes its time to the sensor."""
    sensors.at = (sensors.at + 1) % DELAY
    sensors.gas[sensors.at] = leaving
    way = 0.06 + 1.6 / max(speed, 3.0)  # s: a way of its own, and one and a half turns of the crank
    steps = min(int(way / dt), DELAY - 1)
    arrived = sensors.gas[(sensors.at - steps) % DELAY]
    sensors.lambda_lagged += (arrived - sensors.lambda_lagged) * dt / car.lambda_lag
    sensors.lam = sensors.lambda_lagged


def settle_sensors(sensors: Sensors, outside: Outside, intake_k: float) -> None:
    """Sensors of a car that has stood: everything at rest."""
    sensors.map_lagged = sensors.map_filtered = sensors.manifold = outside.pressure
    sensors.boost_filtered = sensors.charge = sensors.barometer = outside.pressure
    sensors.iat_lagged = sensors.intake = intake_k
    gas: Floats = sensors.gas
    gas[:] = 1.999
    sensors.lambda_lagged = sensors.lam = 1.999
