"""Verdicts on the invented car of examples/.

The scenario is of our own invention, and car and checks share their authors: this guards against going backwards, and
proves nothing about real cars. What does is in test_real_verdicts.py.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.verdict import Verdict
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.recording.recording import Recording, Signal
from airproof.recording.signals import signal_kind

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
TURBO = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", rated_boost_kpa=110
)
NATURAL = EngineProfile(displacement_l=2.0, cylinders=4, induction="naturally-aspirated", air_metering="speed-density")
HERE = barometer_of(altitude_m=350.0)

Drive = Callable[..., Recording]


def invented_car() -> ModuleType:
    if "invented_car" not in sys.modules:
        spec = importlib.util.spec_from_file_location("invented_car", EXAMPLES / "invented_car.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules["invented_car"] = module
        spec.loader.exec_module(module)
    return sys.modules["invented_car"]


@pytest.fixture(scope="module")
def drive() -> Drive:
    """Each drive takes more than a second: the same one is driven once."""
    car = invented_car()
    kept: dict[str, Recording] = {}

    def drive(cause: dict[str, float], **kind: object) -> Recording:
        key = repr((cause, kind))
        if key not in kept:
            columns = {name: np.array(values, dtype=float) for name, values in car.drive(cause, **kind).items()}
            time = columns.pop("time")
            kept[key] = Recording(
                {n: Signal(n, signal_kind(n).unit, time, v, car.HEADINGS[n][1]) for n, v in columns.items()}
            )
        return kept[key]

    return drive


def holds(verdict: Verdict, size: float) -> bool:
    reported = verdict.first.size
    return reported is not None and reported.low <= size <= reported.high


def test_healthy(drive: Drive) -> None:
    for good in ([], [drive({}, seed=1)]):
        verdict = weigh([drive({}, seed=2)], TURBO, baselines=good, barometer=HERE).verdict
        assert verdict.first.id == "none"
        assert verdict.first.probability > 0.5


# with or without a good recording of the same car
@pytest.mark.parametrize(
    ("cause", "size", "baseline", "least"),
    [
        ("map-offset", 8.0, False, 0.6),
        ("map-offset", 8.0, True, 0.9),
        ("map-gain", -10.0, True, 0.9),
        ("maf-scale", -15.0, True, 0.9),
        ("vacuum-leak", 3.0, True, 0.8),
        ("baro-sensor", 8.0, True, 0.8),
        ("boost-sensor-scale", 10.0, False, 0.8),
        ("fuel-delivery", -15.0, True, 0.8),
        ("map-stuck", 60.0, False, 0.8),
    ],
)
def test_a_fault_is_found_with_its_size(drive: Drive, cause: str, size: float, baseline: bool, least: float) -> None:
    good = [drive({}, seed=1)] if baseline else []
    verdict = weigh([drive({cause: size}, seed=1)], TURBO, baselines=good, barometer=HERE).verdict
    assert verdict.first.id == cause
    assert verdict.first.probability >= least
    if cause == "vacuum-leak":
        # this car's leak has its own ideas of discharge and temperature: within a tenth, interval or not
        assert verdict.first.size is not None
        assert verdict.first.size.value == pytest.approx(size, rel=0.1)
    elif verdict.first.size is not None:
        assert holds(verdict, size)


def test_a_plug_that_breaks_contact(drive: Drive) -> None:
    verdict = weigh([drive({"map-intermittent": 0.1}, seed=1)], TURBO, barometer=HERE).verdict
    assert verdict.first.id == "map-intermittent"
    assert verdict.first.probability > 0.5


def test_a_wrong_barometer_without_altitude_is_no_confident_wrong_cause(drive: Drive) -> None:
    verdict = weigh([drive({"baro-sensor": 8.0}, seed=1)], TURBO).verdict
    assert "baro-sensor" in [one.id for one in verdict.causes[:3]]
    assert all(one.probability <= 0.6 for one in verdict.causes if one.id != "baro-sensor")


def test_a_pressure_that_reads_low_on_a_car_that_meters_by_it(drive: Drive) -> None:
    """The real case T10 in small: high idle trims, no leak, a sensor that reads low."""
    recording = drive({"map-offset": -6.0}, seed=1, induction="naturally-aspirated", metering="speed-density")
    verdict = weigh([recording], NATURAL, codes=["P0171"], barometer=HERE).verdict
    assert verdict.first.id == "map-offset"
    assert holds(verdict, -6.0)
    assert verdict.probability("vacuum-leak") < 0.05
