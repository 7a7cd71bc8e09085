"""Weighings made by hand for the tests: a car of our own invention, every number chosen and none recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.verdict import CauseVerdict, Evidence, Moment, Size, Verdict
from airproof.diagnosis.weighing import Barometer, RelationTrace, Weighing
from airproof.engine.profile import EngineProfile
from airproof.recording.recording import ColumnReading, ReadReport, Recording, Signal
from airproof.recording.regimes import Regime, Regimes

BAROMETER = Barometer(98.0, 0.5, "barometer stated as 98.0 kPa")
PROFILE = EngineProfile(displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor")
RATE = 5.0


def decibans(odds: float) -> float:
    return float(10.0 * np.log10(odds))


def cause(
    name: str, probability: float, size: Size | None = None, told: Sequence[tuple[str, float, str]] = ()
) -> CauseVerdict:
    """A cause whose evidence, with what went before it, adds up to its odds."""
    evidence = [Evidence(*one) for one in told]
    before = decibans(probability / (1.0 - probability)) - sum(e.decibans for e in evidence)
    return CauseVerdict(
        name,
        f"Title of {name}",
        probability,
        size,
        (*evidence, Evidence("before", before, "how common this is before any evidence")),
    )


OFFSET = cause(
    "map-offset",
    0.93,
    Size(8.1, 7.2, 9.0, "kPa"),
    [
        ("key-on-baro", 21.2, "manifold pressure reads 106.1 kPa absolute with the engine off, 8.1 kPa above"),
        ("air-flow-idle", 7.5, "measured air flow is 20 % below what the pressure gives at idle"),
        ("trim-idle", 3.1, "the mixture correction is 0 % at idle"),
        ("response", 0.4, "the pressure answers the throttle after 0.1 s"),
        ("full-load-baro", -4.0, "at full load the manifold reads 3 kPa below the barometer"),
    ],
)


def verdict(*causes: CauseVerdict, **more: object) -> Verdict:
    """A verdict of these causes, with a finding or two."""
    findings = (
        Finding("boost-error", -1.0, 1.0, "kPa", (-10.0, 8.0), ((40.0, 60.0),), "boost settles 1 kPa below its target"),
        Finding("key-on-baro", 8.1, 0.3, "kPa", (-1.5, 1.5), ((0.0, 12.0),), "reads 8.1 kPa above the barometer"),
        Finding("trim-idle", 0.0, 1.0, "%", (-8.0, 8.0), ((20.0, 60.0),), "the mixture correction is 0 % at idle"),
    )
    given: dict[str, object] = {
        "findings": findings,
        "timeline": (Moment(0.0, 10.0, 0.9, {"map-offset": 0.88}), Moment(10.0, 20.0, 0.93, {"map-offset": 0.91})),
        "cannot_tell": ("no full-load interval: record one pull in third gear, the passenger reading",),
        "cautions": ("hot parts injure",),
        "regimes_s": {"key-on": 12.0, "idle": 60.0, "full-load": 0.0},
    }
    return Verdict(causes=causes, **{**given, **more})  # type: ignore[arg-type]


def offset_verdict() -> Verdict:
    rest = [cause("map-gain", 0.05, Size(8.0, 6.0, 11.0, "%")), cause("none", 0.015), cause("vacuum-leak", 0.005)]
    return verdict(OFFSET, *rest)


def signal(name: str, unit: str, time: np.ndarray, values: np.ndarray) -> Signal:
    return Signal(name, unit, np.asarray(time, dtype=float), np.asarray(values, dtype=float))


def weighing(
    *,
    seconds: float = 120.0,
    offset_kpa: float = 8.0,
    signals: Mapping[str, Signal] | None = None,
    traces: Sequence[RelationTrace] | None = None,
    said: Verdict | None = None,
    profile: EngineProfile = PROFILE,
    label: str = "invented.csv",
) -> Weighing:
    """Twelve seconds with the key on, then running between 30 and 150 kPa."""
    time = np.arange(0.0, seconds, 1.0 / RATE)
    running = time >= 12.0
    true = np.where(running, 90.0 + 60.0 * np.sin(time / 7.0), BAROMETER.kpa)
    found = {
        "manifold_pressure": signal("manifold_pressure", "kPa", time, true + offset_kpa),
        "charge_pressure": signal("charge_pressure", "kPa", time, np.maximum(true, BAROMETER.kpa)),
        "charge_pressure_target": signal("charge_pressure_target", "kPa", time, np.maximum(true + 1.0, BAROMETER.kpa)),
        "barometric_pressure": signal("barometric_pressure", "kPa", time, np.full(time.size, BAROMETER.kpa)),
    }
    report = ReadReport(
        "invented.csv",
        (
            ColumnReading("MAP (kPa)", "manifold_pressure", "kPa", "stated", "manifold pressure in kPa, as stated"),
            ColumnReading(
                "Boost", "charge_pressure", "kPa", "guessed", "charge pressure, unit not stated; guessed kPa"
            ),
            ColumnReading("Odometer", None, None, "left out", "no signal of this name is known"),
        ),
        ("each row ends in one more delimiter than the headings",),
        int(time.size),
        2,
    )
    regimes = Regimes(
        {Regime.KEY_ON: ((0.0, 11.0),), Regime.IDLE: ((20.0, 60.0),), Regime.FULL_LOAD: ((80.0, 84.0),)}, 800.0
    )
    recording = Recording(found if signals is None else signals, label, report)
    made = all_traces(time[running][::5], (true + offset_kpa)[running][::5]) if traces is None else tuple(traces)
    return Weighing(recording, regimes, profile, BAROMETER, said or offset_verdict(), made)


def all_traces(time: np.ndarray, pressure: np.ndarray) -> tuple[RelationTrace, ...]:
    """Each kind of trace, the measured value 10 % above what is expected, the band 5 % to either side."""
    load = 100.0 * pressure / BAROMETER.kpa
    flow = 0.3 * pressure
    tenth_off = (
        RelationTrace(name, name, unit, time, 1.1 * expected, expected, 0.95 * expected, 1.05 * expected, load)
        for name, unit, expected in (("air-flow", "g/s", flow), ("manifold-pressure", "kPa", pressure / 1.1))
    )
    return (
        *tenth_off,
        RelationTrace(
            "trims",
            "trims",
            "%",
            time,
            np.where(load < 60.0, 12.0, 1.0),
            np.zeros(time.size),
            np.full(time.size, -8.0),
            np.full(time.size, 8.0),
            load,
        ),
        RelationTrace(
            "charge-pressure",
            "charge pressure",
            "kPa",
            time,
            np.maximum(pressure, BAROMETER.kpa) * 1.1,
            np.maximum(pressure, BAROMETER.kpa),
            np.maximum(pressure, BAROMETER.kpa) - 3.0,
            np.maximum(pressure, BAROMETER.kpa) + 3.0,
            load,
        ),
    )
