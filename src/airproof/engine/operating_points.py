"""Operating points: short stretches in which the engine was nearly steady, in SI units.

The air-path relations hold between signals taken at the same moment on an engine in balance. Signals of a recording
come at different moments, rounded and held, so each relation is asked only where nothing moved much.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from airproof.quantities.gas_flow import flow_function
from airproof.quantities.units import convert
from airproof.recording.recording import Bools, Floats, Recording, Signal
from airproof.recording.regimes import Regime, Regimes

# How much may move within a point and still count as steady; judged: Airproof authors, from what rounding (1 kPa,
# 0.39 %) and idle unsteadiness leave in healthy recordings.
SPEED_MAY_MOVE = 0.06  # of its mean
SPEED_MAY_MOVE_IN_A_PULL = 0.20
OPEN_THROTTLE = 0.75  # of the highest pressure seen
PRESSURE_MAY_MOVE = 0.08  # of its mean ...
PRESSURE_ROUNDING_PA = 3.0e3  # ... or this much, where rounding is coarse
THROTTLE_MAY_MOVE = 0.08  # of its mean ...
THROTTLE_ROUNDING = 0.008  # ... or this much of full opening
LEAST_TRIM, MOST_TRIM = 0.4, 1.85  # short and long at their stops together; judged: Airproof authors
RICHEST, LEANEST = 0.4, 2.5  # lambda of any running engine, overrun left out; judged: Airproof authors
TRIM_STOP = 0.19  # makers end a trim at 20 to 35 %; common practice, no source
SHORTEST_POINT_S = 1.0
SAMPLES_A_POINT = 3
FLOW_MAY_MOVE = 0.09
LEAST_PRESSURE_PA = 2e3  # below it no engine draws: a lost signal, judged by the check of the signal itself

# Field, signal, unit in SI.
_SOURCES: tuple[tuple[str, str, str], ...] = (
    ("speed", "engine_speed", "1/s"),
    ("manifold", "manifold_pressure", "Pa"),
    ("charge", "charge_pressure", "Pa"),
    ("charge_target", "charge_pressure_target", "Pa"),
    ("barometer", "barometric_pressure", "Pa"),
    ("air_flow", "air_flow", "kg/s"),
    ("intake_temperature", "intake_temperature", "K"),
    ("ambient_temperature", "ambient_temperature", "K"),
    ("coolant_temperature", "coolant_temperature", "K"),
    ("throttle", "throttle", "fraction"),
    ("fuel_rate", "fuel_rate", "kg/s"),
    ("wastegate", "wastegate", "fraction"),
)


@dataclass(frozen=True)
class OperatingPoints:
    """n points; every array has shape (n,), in Pa absolute, K, kg/s, 1/s and fractions; NaN where a signal is missing.

    `trim` is the total fuel correction as a factor: (1 + short) (1 + long), mean of the banks, times measured over
    wanted lambda where the car measures it; NaN where a trim stands at its stop and no lambda says what is missing.
    `regime` holds the Regime of each point, or "" in between. `area_over_idle` is the throttle's effective area as the
    flow through it shows it, over that at idle.
    """

    start_s: Floats
    end_s: Floats
    regime: NDArray[np.str_]
    speed: Floats
    manifold: Floats
    charge: Floats
    charge_target: Floats
    barometer: Floats
    air_flow: Floats
    intake_temperature: Floats
    ambient_temperature: Floats
    coolant_temperature: Floats
    throttle: Floats
    fuel_rate: Floats
    wastegate: Floats
    trim: Floats
    closed_loop: Bools
    area_over_idle: Floats

    def __len__(self) -> int:
        return int(self.start_s.size)

    def where(self, chosen: Bools) -> OperatingPoints:
        """Only the chosen points."""
        return replace(self, **{f.name: getattr(self, f.name)[chosen] for f in fields(self)})

    def has(self, *names: str) -> Bools:
        """Which points know all the named quantities."""
        known = np.ones(len(self), dtype=bool)
        for name in names:
            known &= np.isfinite(getattr(self, name))
        return known


def find_operating_points(recording: Recording, regimes: Regimes) -> OperatingPoints:
    """The steady stretches of a recording with the engine turning, each at least 1 s and three samples long."""
    edges = _edges(recording)
    start, end = edges[:-1], edges[1:]
    means: dict[str, Floats] = {}
    moved: dict[str, Floats] = {}
    for field_name, signal_name, unit in _SOURCES:
        means[field_name], moved[field_name] = _over_windows(recording.get(signal_name), unit, edges)
    with np.errstate(invalid="ignore"):
        for field_name in ("manifold", "charge", "barometer"):
            means[field_name][means[field_name] < LEAST_PRESSURE_PA] = np.nan
    trim = _total_trim(recording, edges)
    middle = (start + end) / 2
    regime = _regime_at(regimes, start, end, middle)

    with np.errstate(invalid="ignore"):
        steady = means["speed"] > 5.0
        # In a pull the speed runs away under an open throttle, while the manifold is full and stays so.
        open_throttle = means["manifold"] > OPEN_THROTTLE * np.nanmax(means["manifold"], initial=0.0)
        may_move = np.where(open_throttle, SPEED_MAY_MOVE_IN_A_PULL, SPEED_MAY_MOVE)
        steady &= ~(moved["speed"] > may_move * means["speed"])
        steady &= ~(moved["manifold"] > np.maximum(PRESSURE_MAY_MOVE * means["manifold"], PRESSURE_ROUNDING_PA))
        steady &= ~(moved["throttle"] > np.maximum(THROTTLE_MAY_MOVE * means["throttle"], THROTTLE_ROUNDING))
        steady &= ~(moved["air_flow"] > np.maximum((FLOW_MAY_MOVE + may_move) * means["air_flow"], 5e-4))
    steady &= (regime != Regime.SNAP.value) & (regime != Regime.CRANKING.value) & (regime != Regime.KEY_ON.value)
    points = OperatingPoints(
        start_s=start,
        end_s=end,
        regime=regime,
        trim=trim,
        closed_loop=_closed_loop(recording, regime, edges),
        area_over_idle=np.full(start.size, np.nan),
        **means,
    ).where(steady)
    return replace(points, area_over_idle=_area_over_idle(points))


def _area_over_idle(points: OperatingPoints) -> Floats:
    """Flow over what drives it; where no flow is recorded, pressure times speed stands for it."""
    before = np.where(np.isfinite(points.charge), points.charge, np.nan_to_num(points.barometer, nan=100e3))
    with np.errstate(invalid="ignore"):
        drive = before * flow_function(np.clip(points.manifold / before, 0.0, 0.995))
    flow = np.where(np.isfinite(points.air_flow), points.air_flow, points.manifold * points.speed)
    area = np.asarray(flow / drive)
    known = np.isfinite(area)
    idle = known & (points.regime == Regime.IDLE.value)
    if not known.any():
        return area
    at_idle = np.median(area[idle]) if idle.any() else np.quantile(area[known], 0.05)
    return area / max(float(at_idle), 1e-12)


def _edges(recording: Recording) -> Floats:
    """Window edges: as short as the slowest of the signals that matter allows."""
    spacing = SHORTEST_POINT_S / SAMPLES_A_POINT
    for name in ("engine_speed", "manifold_pressure", "air_flow", "throttle"):
        signal = recording.get(name)
        if signal is not None and len(signal) > 2:
            spacing = max(spacing, float(np.median(np.diff(signal.time))))
    width = min(SAMPLES_A_POINT * spacing, 10.0)
    count = max(int(recording.duration_s / width), 1)
    return np.asarray(recording.start_s + width * np.arange(count + 1, dtype=np.float64))


def _over_windows(signal: Signal | None, unit: str, edges: Floats) -> tuple[Floats, Floats]:
    """Mean and range of a signal in each window; a window without a sample takes the latest before it, at rest."""
    count = edges.size - 1
    if signal is None or not len(signal):
        return np.full(count, np.nan), np.full(count, np.nan)
    values = (
        signal.values / 100.0
        if unit == "fraction"
        else signal.values
        if unit == "1"
        else np.asarray(convert(signal.values, signal.unit, unit))
    )
    first = np.searchsorted(signal.time, edges)
    begin, stop = first[:-1], first[1:]
    filled = stop > begin
    mean = np.full(count, np.nan)
    spread = np.full(count, np.nan)
    if filled.any():
        inside = values[: first[-1]]
        starts = begin[filled]
        total = np.add.reduceat(inside, starts)
        mean[filled] = total / (stop - begin)[filled]
        spread[filled] = np.maximum.reduceat(inside, starts) - np.minimum.reduceat(inside, starts)
    latest = np.clip(begin - 1, 0, None)
    held = ~filled & (begin > 0) & (edges[:-1] - signal.time[latest] < 60.0)
    slow = np.median(np.diff(signal.time)) > (edges[1] - edges[0]) if len(signal) > 2 else True
    if slow:
        mean[held] = values[latest[held]]
        spread[held] = 0.0
    return mean, spread


def _total_trim(recording: Recording, edges: Floats) -> Floats:
    """Total correction of each window as a factor; a bank whose short or long trim alone is known counts with that."""
    banks = []
    at_stop = np.zeros(edges.size - 1, dtype=bool)
    for bank in ("1", "2"):
        short, _ = _over_windows(recording.get(f"short_trim_{bank}"), "fraction", edges)
        long, _ = _over_windows(recording.get(f"long_trim_{bank}"), "fraction", edges)
        total = (1.0 + np.nan_to_num(short)) * (1.0 + np.nan_to_num(long))
        total[np.isnan(short) & np.isnan(long)] = np.nan
        # A correction nobody makes is an item the car does not serve: raw 0 reads -100 %.
        total[(total < LEAST_TRIM) | (total > MOST_TRIM)] = np.nan
        banks.append(total)
        at_stop |= (np.abs(np.nan_to_num(short)) > TRIM_STOP) | (np.abs(np.nan_to_num(long)) > TRIM_STOP)
    known = np.isfinite(banks)
    trim = np.nansum(banks, axis=0) / np.where(known.any(axis=0), known.sum(axis=0), np.nan)
    left = _lambda(recording, "lambda", edges)
    wanted = _lambda(recording, "lambda_target", edges)
    left = left / np.where(np.isfinite(wanted), wanted, 1.0)
    trim[at_stop & ~np.isfinite(left)] = np.nan
    return np.asarray(trim * np.where(np.isfinite(left), left, 1.0), dtype=np.float64)


def _lambda(recording: Recording, name: str, edges: Floats) -> Floats:
    """Lambda over windows; NaN where no engine runs on it."""
    values, _ = _over_windows(recording.get(name), "1", edges)
    with np.errstate(invalid="ignore"):
        values[(values < RICHEST) | (values > LEANEST)] = np.nan
    return values


def _regime_at(regimes: Regimes, start: Floats, end: Floats, middle: Floats) -> NDArray[np.str_]:
    """The regime that holds at the start, the middle and just before the end of each window, else ""."""
    found = np.full(middle.size, "", dtype="U12")
    for regime in Regime:
        inside = (
            regimes.mask(middle, regime) & regimes.mask(start, regime) & regimes.mask(np.nextafter(end, start), regime)
        )
        found[inside] = regime.value
    return found


def _closed_loop(recording: Recording, regime: NDArray[np.str_], edges: Floats) -> Bools:
    """Where the mixture is corrected from the oxygen sensor: as the car says, else wherever that is usual."""
    status = recording.get("fuel_system_status")
    usual = (regime != Regime.OVERRUN.value) & (regime != Regime.FULL_LOAD.value)
    coolant, _ = _over_windows(recording.get("coolant_temperature"), "K", edges)
    with np.errstate(invalid="ignore"):
        usual &= ~(coolant < 313.15)
    if status is None:
        return np.asarray(usual)
    # SAE J1979 item 03: bit 1 is closed loop, bit 4 closed loop with a fault in one sensor.
    bits = status.at((edges[:-1] + edges[1:]) / 2)
    known = np.isfinite(bits)
    closed = (np.nan_to_num(bits).astype(int) & 0b10010) != 0
    return np.asarray(np.where(known, closed, usual))
