"""Verdicts on real recordings with known faults, and on healthy cars with faults made up in the test.

Sources: LiU-ICE benchmark (Jung, Frisk, Krysander, arXiv:2408.13269) on the test bench, each fault switched on in the
control unit itself; carOBD (github eron93br/carOBD, IEEE 8891367), a healthy car on the road; KIT automotive OBD-II
data set (Weber, doi 10.35097/1130), a healthy diesel. The targets (which cause, how probable, which size inside the
interval) are those the project set itself before it was built.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.verdict import CauseVerdict, Verdict
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.recording.readers import read_recording
from airproof.recording.recording import Recording

pytestmark = pytest.mark.realdata

Floats = NDArray[np.float64]

BENCH = EngineProfile(
    displacement_l=1.953, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", compression_ratio=10.8
)
ROAD = EngineProfile(displacement_l=1.5, cylinders=4, induction="naturally-aspirated", air_metering="speed-density")
DIESEL = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", fuel="diesel"
)

# file, cause, true size where one is known in the cause's own unit, least probability, when it was switched on (s)
BENCH_FAULTS: dict[str, tuple[str, float | None, float, float]] = {
    "pim_090": ("map-gain", -10.0, 0.90, 190.0),
    "waf_110": ("maf-scale", 10.0, 0.90, 120.0),
    "pic_110": ("boost-sensor-scale", 10.0, 0.90, 123.0),
    # 6 mm, but with a discharge coefficient that nobody states: no interval is asked for
    "iml_6mm": ("vacuum-leak", None, 0.80, 120.0),
}


@pytest.fixture(scope="module")
def bench(realdata: Path) -> dict[str, Recording]:
    names = {"NF": "wltp_NF", **{name: f"wltp_f_{name}" for name in BENCH_FAULTS}}
    return {name: read_recording(realdata / "bench_turbo_petrol" / f"{file}.csv.gz") for name, file in names.items()}


def cause_of(verdict: Verdict, cause: str) -> CauseVerdict:
    return next(one for one in verdict.causes if one.id == cause)


def adds_up(verdict: Verdict) -> None:
    assert sum(one.probability for one in verdict.causes) == pytest.approx(1.0, abs=1e-9)
    for one in verdict.causes:
        rest = sum(other.probability for other in verdict.causes if other.id != one.id)
        if one.probability > 1e-12 and rest > 1e-9:
            total = sum(evidence.decibans for evidence in one.evidence)
            assert total == pytest.approx(10 * np.log10(one.probability / rest), abs=1e-6)


@pytest.mark.parametrize("name", BENCH_FAULTS)
def test_bench_with_a_good_recording(bench: dict[str, Recording], name: str) -> None:
    cause, size, least, since = BENCH_FAULTS[name]
    verdict = weigh([bench[name]], BENCH, baselines=[bench["NF"]]).verdict
    adds_up(verdict)
    assert verdict.first.id == cause
    assert verdict.first.probability >= least
    reported = verdict.first.size
    assert reported is not None
    if size is not None:
        assert reported.low <= size <= reported.high
    # the timeline: low before it was switched on, high from half a minute after
    for moment in verdict.timeline:
        if moment.to_s < since - 30.0:
            assert moment.p_wrong < 0.5
        if moment.from_s > since + 30.0 and moment.to_s < 1790.0:
            assert moment.p_wrong > 0.5


@pytest.mark.parametrize("name", BENCH_FAULTS)
def test_bench_without_a_good_recording(bench: dict[str, Recording], name: str) -> None:
    cause = BENCH_FAULTS[name][0]
    verdict = weigh([bench[name]], BENCH).verdict
    adds_up(verdict)
    assert cause in [one.id for one in verdict.causes[:3]]
    for one in verdict.causes:
        assert one.id == cause or one.probability <= 0.6


def test_a_healthy_half_against_the_other(bench: dict[str, Recording]) -> None:
    first, second = bench["NF"].between(0.0, 900.0), bench["NF"].between(900.0, 1e9)
    verdict = weigh([second], BENCH, baselines=[first]).verdict
    adds_up(verdict)
    assert verdict.first.id == "none"
    assert verdict.first.probability >= 0.75  # measured: 0.79
    assert max(moment.p_wrong for moment in verdict.timeline) < 0.3


@pytest.mark.parametrize("gain", [0.90, 1.12])
def test_a_lie_switched_on_in_the_middle_is_dated(bench: dict[str, Recording], gain: float) -> None:
    first, second = bench["NF"].between(0.0, 900.0), bench["NF"].between(900.0, 1e9)
    since = 1350.0
    pressure = second["manifold_pressure"]
    lying = changed(second, "manifold_pressure", lambda v: np.where(pressure.time > since, gain * v, v))
    verdict = weigh([lying], BENCH, baselines=[first]).verdict
    assert verdict.first.id == "map-gain"
    assert verdict.first.probability >= 0.90
    assert verdict.first.size is not None
    assert verdict.first.size.low <= 100.0 * (gain - 1.0) <= verdict.first.size.high
    wrong = [moment for moment in verdict.timeline if moment.from_s >= since - 60.0 and moment.p_wrong > 0.5]
    assert wrong[0].from_s == pytest.approx(since, abs=30.0)
    assert all(moment.p_wrong > 0.5 for moment in verdict.timeline if moment.from_s > since + 30.0)


ROAD_FILES = [
    *("drive11", "drive12", "drive13", "drive6", "drive9", "idle19", "idle26", "idle42", "idle45", "idle5", "live13"),
    *("live15", "live20", "live24", "live27", "long10", "long11", "long12", "long4", "long7", "ufpe13", "ufpe15"),
    *("ufpe18", "ufpe7", "ufpe9"),
]


@pytest.fixture(scope="module")
def road(realdata: Path) -> Callable[[str], Recording]:
    kept: dict[str, Recording] = {}

    def read(name: str) -> Recording:
        if name not in kept:
            kept[name] = read_recording(realdata / "road_na_petrol" / f"{name}.csv.gz")
        return kept[name]

    return read


@pytest.mark.parametrize("name", ROAD_FILES)
def test_a_healthy_car_on_the_road(road: Callable[[str], Recording], name: str) -> None:
    verdict = weigh([road(name)], ROAD).verdict
    adds_up(verdict)
    assert verdict.refusal is None
    assert verdict.first.id == "none"
    assert all(one.probability <= 0.3 for one in verdict.causes[1:])


def changed(recording: Recording, name: str, how: Callable[[Floats], Floats]) -> Recording:
    signal = recording[name]
    return replace(recording, signals={**recording.signals, name: replace(signal, values=how(signal.values.copy()))})


def dropping_out(values: Floats) -> Floats:
    values[np.random.default_rng(1).random(values.size) < 0.01] = 0.0
    return values


MADE_UP: dict[str, tuple[str, Callable[[Floats], Floats], str]] = {
    "12 kPa high": ("manifold_pressure", lambda v: v + 12.0, "map-offset"),
    "15 % low": ("manifold_pressure", lambda v: 0.85 * v, "map-gain"),
    "frozen at 60 kPa": ("manifold_pressure", lambda v: 0.0 * v + 60.0, "map-stuck"),
    "1 % of the samples lost": ("manifold_pressure", dropping_out, "map-intermittent"),
    "railed": ("manifold_pressure", lambda v: 0.0 * v + 255.0, "map-circuit"),
    "15 % too rich": ("long_trim_1", lambda v: v - 15.0, "fuel-delivery"),
}


@pytest.mark.parametrize("name", ["drive12", "drive9"])
@pytest.mark.parametrize("what", MADE_UP)
def test_a_made_up_fault_on_a_healthy_car(road: Callable[[str], Recording], name: str, what: str) -> None:
    """The car's own loops do not answer these: they are lies told to the recorder only."""
    signal, how, cause = MADE_UP[what]
    verdict = weigh([changed(road(name), signal, how)], ROAD).verdict
    adds_up(verdict)
    assert verdict.first.id == cause
    if cause == "map-offset":
        assert verdict.first.size is not None
        assert verdict.first.size.low <= 12.0 <= verdict.first.size.high
    if cause == "map-gain":
        assert verdict.first.size is not None
        assert verdict.first.size.low <= -15.0 <= verdict.first.size.high


@pytest.mark.parametrize("name", ["drive_a", "drive_b", "drive_c"])
def test_a_healthy_diesel_is_left_alone(realdata: Path, name: str) -> None:
    recording = read_recording(realdata / "road_turbo_diesel" / f"{name}.csv.gz")
    for barometer in (None, barometer_of(altitude_m=150.0)):
        verdict = weigh([recording], DIESEL, barometer=barometer).verdict
        assert verdict.refusal is None
        assert verdict.first.id == "none"
        assert verdict.causes[1].probability < 0.2
        assert verdict.regimes_s["idle"] > 10.0


@pytest.mark.parametrize("name", ["drive_a", "drive_b", "drive_c"])
def test_a_disturbance_laid_over_a_diesel_is_found(realdata: Path, name: str) -> None:
    """The drive is real, what is wrong is not: its loops did not answer it."""
    recording = read_recording(realdata / "road_turbo_diesel" / f"{name}.csv.gz")
    place = barometer_of(altitude_m=150.0)

    def first(how: Callable[[Floats], Floats]) -> tuple[str, float]:
        signal = recording["manifold_pressure"]
        bent = {**recording.signals, "manifold_pressure": replace(signal, values=how(signal.values))}
        found = weigh([replace(recording, signals=bent)], DIESEL, barometer=place).verdict
        return found.first.id, found.first.probability

    assert first(lambda v: v + 20.0)[0] == "map-offset"
    assert first(lambda v: v - 20.0)[0] == "map-offset"
    stuck, open_wire = first(lambda v: np.full_like(v, 101.0)), first(lambda v: np.full_like(v, 5.0))
    assert stuck[0] == "map-stuck"
    assert stuck[1] > 0.6
    assert open_wire[0] == "map-circuit"
    assert open_wire[1] > 0.95
