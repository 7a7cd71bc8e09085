"""Key on, engine off: every pressure sensor must read the pressure of the day at this place.

The manifold sensor, the charge sensor and the barometric reading are one group, since they share the true pressure.
A car may copy its barometric reading from the manifold sensor at key-on: then the two agree whatever the sensor does,
and only weather or altitude can tell. Where a diesel was never seen at rest, its idle stands in: nothing throttles it,
and it has the day's pressure and what its compressor adds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.lying_sensors import undone
from airproof.diagnosis.testimony import Testimony, group, log_t
from airproof.recording.recording import Interval
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]

COPY_SPREAD_KPA = 1.5  # a copy is rounded, and may be some minutes old; judged: Airproof authors
AT_REST_KPA = 4.0  # a pressure that moves more is no pressure of an engine at rest, whatever its speed reads
BY_HAND_KPA = 0.5  # of a pressure read off by hand; judged: Airproof authors
WORTH_TELLING_KPA = 2.0  # between two sensors of one car; judged: Airproof authors, good ones agree to that mostly
FINDINGS = {"manifold_pressure": "key-on-baro", "charge_pressure": "key-on-charge", "barometric_pressure": "barometer"}
AT_IDLE = {"manifold_pressure": "idle-baro", "charge_pressure": "idle-charge"}
FEWEST_AT_IDLE = 8  # samples; judged: Airproof authors
OPEN = 0.75  # quantile of idle: now and then a flap shuts to burn the soot off; judged: Airproof authors
BLUR = {"map-stuck": 25.0, "map-circuit": 60.0, "control-unit": 8.0}


@dataclass(frozen=True)
class _Sensor:
    signal: str
    title: str
    tolerance: str


_SENSORS = (
    _Sensor("manifold_pressure", "manifold pressure", "sensor-tolerance"),
    _Sensor("charge_pressure", "charge pressure", "sensor-tolerance"),
    _Sensor("barometric_pressure", "the car's own barometer", "barometer-sensor-tolerance"),
)


@dataclass(frozen=True)
class EngineOff:
    """The pressure sensors seen with the engine off, as one Gaussian group.

    `off[c]` (S_c, k): how far each would still lie from the day if c were undone, kPa; `covariance` (k, k) of that;
    `tolerances` (k,): the sd of what each good sensor is off by.
    """

    findings: tuple[Finding, ...]
    signals: tuple[str, ...]
    values: Floats
    off: Mapping[str, Floats]
    covariance: Floats
    tolerances: Floats


def seen_engine_off(case: Case) -> EngineOff | None:
    """What the recording (or a reading by hand) shows of the sensors with the engine off, or None."""
    seen = [one for sensor in _SENSORS if (one := _engine_off(case, sensor) or _idling(case, sensor)) is not None]
    if not seen:
        return None
    weather = case.weather
    values = np.array([one.kpa for one in seen])
    tolerances = np.array([expected(one.sensor.tolerance).sd for one in seen])
    covariance = np.diag(np.square(tolerances) + np.square([one.sd for one in seen])) + weather.sd_kpa**2

    off = {
        cause: np.column_stack(
            [undone(one.sensor.signal, one.kpa, cause, sizes) - one.above_kpa - weather.kpa for one in seen]
        )
        for cause, sizes in case.sizes.items()
    }
    findings = [_finding(one, weather.kpa, float(np.sqrt(covariance[k, k]))) for k, one in enumerate(seen)]
    first = seen[0]
    findings[1:] = [
        _beside(finding, one.kpa - first.kpa, first.sensor.title)
        for finding, one in zip(findings[1:], seen[1:], strict=True)
    ]
    return EngineOff(tuple(findings), tuple(one.sensor.signal for one in seen), values, off, covariance, tolerances)


def check(case: Case) -> Sequence[Testimony]:
    """One testimony for each pressure sensor seen with the engine off (the barometric reading also when running)."""
    seen = seen_engine_off(case)
    if seen is None:
        return []
    testimonies = group(seen.findings, seen.off, seen.covariance, BLUR)
    by_name = {signal: k for k, signal in enumerate(seen.signals)}
    if "barometric_pressure" in by_name and "manifold_pressure" in by_name:
        row = by_name["barometric_pressure"]
        apart = seen.values[row] - seen.values[by_name["manifold_pressure"]]
        testimonies[row] = _perhaps_copied(testimonies[row], apart)
    return testimonies


@dataclass(frozen=True)
class _Seen:
    """A sensor's reading, kPa absolute, with its own sd; healthy it is `above_kpa` above the day's, which is more than
    nothing only where the engine idles.
    """

    sensor: _Sensor
    kpa: float
    sd: float
    intervals: tuple[Interval, ...]
    above_kpa: float = 0.0
    idling: bool = False


def _idling(case: Case, sensor: _Sensor) -> _Seen | None:
    """A pressure of a diesel at idle."""
    values = case.in_regime(sensor.signal, Regime.IDLE)
    if case.profile.throttled or sensor.signal not in AT_IDLE or values.size < FEWEST_AT_IDLE:
        return None
    healthy = expected("diesel-idle-over-day")
    above = healthy.mean if case.profile.boosted else 0.0
    intervals = case.regimes.intervals(Regime.IDLE)
    return _Seen(sensor, float(np.quantile(values, OPEN)), healthy.sd, intervals, above, idling=True)


def _engine_off(case: Case, sensor: _Sensor) -> _Seen | None:
    signal = case.recording.get(sensor.signal)
    if sensor.signal in case.engine_off_kpa:  # read by hand, on purpose: it goes before what the recording holds
        return _Seen(sensor, case.engine_off_kpa[sensor.signal], BY_HAND_KPA, ())
    if signal is None or not len(signal):
        return None
    values, intervals = case.at_rest(sensor.signal)
    if sensor.signal == "barometric_pressure" and not values.size:
        values, intervals = signal.values, ((case.recording.start_s, case.recording.end_s),)
    if not values.size or (intervals and np.std(values) > AT_REST_KPA):
        return None
    rounding = (signal.resolution or 0.1) / np.sqrt(12.0)
    spread = float(np.hypot(rounding, min(float(np.std(values)), 3.0) / 3.0))
    return _Seen(sensor, float(np.median(values)), spread, intervals)


def _perhaps_copied(testimony: Testimony, apart_kpa: float) -> Testimony:
    """The barometric reading may be a copy of the manifold sensor's own: then it says nothing about the day."""
    share = expected("barometer-copied").mean
    copied = float(np.log(share)) + copied_log_density(apart_kpa)
    mixed = {cause: np.logaddexp(np.log1p(-share) + rows, copied) for cause, rows in testimony.log_likelihood.items()}
    return replace(testimony, log_likelihood=mixed)


def copied_log_density(apart_kpa: float) -> float:
    """ln density of a barometric reading so far from the manifold sensor's, if it is a copy of that."""
    return float(log_t(np.array(apart_kpa / COPY_SPREAD_KPA), COPY_SPREAD_KPA))


def _beside(finding: Finding, apart_kpa: float, first: str) -> Finding:
    """The same, saying how far it stands from the first sensor of the group, given which it is judged."""
    if abs(apart_kpa) < WORTH_TELLING_KPA:
        return finding
    side = "above" if apart_kpa > 0.0 else "below"
    return replace(finding, says=f"{finding.says}, and {abs(apart_kpa):.1f} kPa {side} {first}")


def _finding(one: _Seen, day: float, band: float) -> Finding:
    apart = one.kpa - day
    where = f"{abs(apart):.1f} kPa {'above' if apart > 0 else 'below'} the {day:.1f} kPa expected of the day"
    title, low, high = one.sensor.title, one.above_kpa - 1.645 * band, one.above_kpa + 1.645 * band
    says = (
        f"{title} reads {one.kpa:.1f} kPa absolute at idle, {where} (healthy diesels: {low:.1f} to {high:+.1f} kPa)"
        if one.idling
        else f"{title} reads {one.kpa:.1f} kPa absolute with the engine off, {where}"
    )
    return Finding(
        id=(AT_IDLE if one.idling else FINDINGS)[one.sensor.signal],
        value=apart,
        sd=one.sd,
        unit="kPa",
        expected=(low, high),
        intervals=one.intervals,
        says=says,
    )
