"""Readings in another unit or under another's heading: seen, said with the way out, and never taken for a fault.

Factors: 1 psi = 6.894757 kPa, 1 inHg = 3.386389 kPa, 1 mmHg = 0.1333224 kPa, 1 lb = 453.59237 g (NIST Special
Publication 811, 2008, appendix B.8).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from small_cases import DAY, NATURAL, NATURAL_BY_FLOW, TURBO, changed, without, workshop_round

from airproof.diagnosis.conditions import UNKNOWN_PLACE, barometer_of
from airproof.diagnosis.misread import misread
from airproof.diagnosis.weigh import weigh
from airproof.diagnosis.weighing import Barometer
from airproof.engine.profile import EngineProfile
from airproof.recording.recording import ColumnReading, Recording

Floats = NDArray[np.float64]

HERE = barometer_of(barometer_kpa=DAY)
KPA = {"psi": 6.894757, "inHg": 3.386389, "mmHg": 0.1333224, "bar or kg/cm2": 100.0, "mbar": 0.1}
FLOW = {"kg/h": 1.0 / 3.6, "lb/min": 453.59237 / 60.0}
DRIVEN = {"turbo": TURBO, "natural": NATURAL, "by flow": NATURAL_BY_FLOW}


def of(recording: Recording, profile: EngineProfile, weather: Barometer = HERE) -> str:
    return misread([recording], profile, weather) or ""


def scaled(recording: Recording, name: str, times: float) -> Recording:
    return changed(recording, name, lambda values: values * times)


def swapped(recording: Recording, one: str, other: str) -> Recording:
    first, second = recording[one], recording[other]
    turned = {one: replace(first, values=second.values), other: replace(second, values=first.values)}
    return replace(recording, signals={**recording.signals, **turned})


def running(recording: Recording) -> Recording:
    """The part without any rest."""
    return recording.between(13.0, 250.0)


class TestAnotherUnit:
    @pytest.mark.parametrize("unit", KPA)
    @pytest.mark.parametrize("driven", DRIVEN)
    @pytest.mark.parametrize("weather", [HERE, UNKNOWN_PLACE])
    def test_a_manifold_pressure(self, unit: str, driven: str, weather: Barometer) -> None:
        profile = DRIVEN[driven]
        says = of(scaled(workshop_round(profile), "manifold_pressure", 1.0 / KPA[unit]), profile, weather)
        assert says.startswith(f"the manifold pressure reads as if it were {unit} under a heading that says kPa")
        assert "--signals" in says

    @pytest.mark.parametrize("unit", ["psi", "inHg", "mmHg"])
    @pytest.mark.parametrize("driven", ["turbo", "by flow"])
    def test_it_is_seen_by_what_the_engine_breathes_where_nothing_rests(self, unit: str, driven: str) -> None:
        profile = DRIVEN[driven]
        says = of(running(scaled(workshop_round(profile), "manifold_pressure", 1.0 / KPA[unit])), profile)
        assert f"as if it were {unit} under" in says
        assert "breathes as it must" in says

    def test_the_unit_that_the_heading_says_is_named(self) -> None:
        recording = scaled(workshop_round(NATURAL), "manifold_pressure", 6.894757)
        column = ColumnReading("MAP (psi)", "manifold_pressure", "psi", "stated", "as stated")
        recording = replace(recording, report=replace(recording.report, columns=(column,)))
        assert "as if it were kPa under a heading that says psi" in of(recording, NATURAL)
        guessed = replace(recording, report=replace(recording.report, columns=(replace(column, how="guessed"),)))
        assert "as if it were kPa though it was guessed to be in psi" in of(guessed, NATURAL)

    def test_a_charge_pressure(self) -> None:
        says = of(scaled(workshop_round(TURBO), "charge_pressure", 1.0 / 6.894757), TURBO)
        assert says.startswith("the charge pressure reads as if it were psi")

    @pytest.mark.parametrize("unit", FLOW)
    @pytest.mark.parametrize("driven", ["turbo", "by flow"])
    @pytest.mark.parametrize("part", [running, lambda whole: whole])
    def test_an_air_flow(self, unit: str, driven: str, part: Callable[[Recording], Recording]) -> None:
        profile = DRIVEN[driven]
        says = of(part(scaled(workshop_round(profile), "air_flow", 1.0 / FLOW[unit])), profile)
        assert says.startswith(f"the air flow reads as if it were {unit} under a heading that says g/s")
        assert "check the engine's size too" in says


class TestSwappedHeadings:
    @pytest.mark.parametrize(
        ("other", "title", "driven"),
        [
            ("barometric_pressure", "barometric pressure", "turbo"),
            ("barometric_pressure", "barometric pressure", "natural"),
            ("charge_pressure", "charge pressure", "turbo"),
            ("air_flow", "air flow", "turbo"),
            ("air_flow", "air flow", "by flow"),
        ],
    )
    @pytest.mark.parametrize("weather", [HERE, UNKNOWN_PLACE])
    @pytest.mark.parametrize("part", [running, lambda whole: whole])
    def test_two_columns(
        self, other: str, title: str, driven: str, weather: Barometer, part: Callable[[Recording], Recording]
    ) -> None:
        profile = DRIVEN[driven]
        says = of(part(swapped(workshop_round(profile), "manifold_pressure", other)), profile, weather)
        assert says.startswith(f"manifold pressure and {title} read as if their headings were swapped")


def faults() -> dict[str, Callable[[Recording], Recording]]:
    """What sensors do when they fail, as far as the causes go."""

    def gain(name: str, times: float) -> Callable[[Recording], Recording]:
        return lambda recording: scaled(recording, name, times)

    def held(name: str, at: float) -> Callable[[Recording], Recording]:
        return lambda recording: changed(recording, name, lambda values: np.full(values.size, at))

    def moved(name: str, by: float) -> Callable[[Recording], Recording]:
        return lambda recording: changed(recording, name, lambda values: np.maximum(values + by, 0.0))

    def dropping(name: str, to: float) -> Callable[[Recording], Recording]:
        def drop(values: Floats) -> Floats:
            values[np.arange(values.size) % 7 < 3] = to
            return values

        return lambda recording: changed(recording, name, drop)

    found: dict[str, Callable[[Recording], Recording]] = {"nothing": lambda recording: recording}
    for name in ("manifold_pressure", "charge_pressure", "barometric_pressure", "air_flow"):
        for times in (0.6, 0.8, 1.25, 1.4):
            found[f"{name} x {times}"] = gain(name, times)
        for by in (-40.0, -15.0, 15.0, 40.0) if name != "air_flow" else ():
            found[f"{name} {by:+g}"] = moved(name, by)
        for at in (0.0, 3.0, 14.0, 30.0, 98.0, 255.0):
            found[f"{name} held at {at}"] = held(name, at)
        for to in (0.0, 3.0, 115.0, 255.0):
            found[f"{name} dropping to {to}"] = dropping(name, to)
    return found


FAULTS = faults()


def _has(profile: EngineProfile, signal: str) -> bool:
    there = {"charge_pressure": profile.boosted, "air_flow": profile.air_metering != "speed-density"}
    return there.get(signal, True)


@pytest.mark.parametrize(
    ("driven", "fault"),
    [(driven, fault) for driven, profile in DRIVEN.items() for fault in FAULTS if _has(profile, fault.split()[0])],
)
@pytest.mark.parametrize("part", [running, lambda whole: whole])
def test_a_faulty_sensor_is_no_misread_one(fault: str, driven: str, part: Callable[[Recording], Recording]) -> None:
    profile = DRIVEN[driven]
    recording = workshop_round(profile)
    for weather in (HERE, UNKNOWN_PLACE):
        for size in (0.85, 1.0, 1.2):
            engine = profile.model_copy(update={"displacement_l": profile.displacement_l * size})
            assert of(part(FAULTS[fault](recording)), engine, weather) == ""


def test_idle_alone_tells_no_unit_from_an_offset() -> None:
    """At 35 kPa a sensor that is 30 kPa low reads as one in psi would."""
    idle = workshop_round(NATURAL_BY_FLOW).between(13.0, 70.0)
    assert of(changed(idle, "manifold_pressure", lambda values: values - 29.3), NATURAL_BY_FLOW) == ""


def test_little_to_go_by_is_no_doubt() -> None:
    recording = workshop_round(NATURAL)
    assert of(without(recording, "engine_speed"), NATURAL) == ""
    assert of(without(recording, "manifold_pressure"), NATURAL) == ""
    assert of(recording.between(0.0, 10.0), NATURAL) == ""


class TestWeighed:
    def test_nothing_is_accused_and_the_way_out_is_said(self) -> None:
        recording = scaled(workshop_round(TURBO), "manifold_pressure", 1.0 / 6.894757)
        verdict = weigh([recording], TURBO, codes=["P0106"], barometer=HERE).verdict
        assert verdict.refusal is not None
        assert "as if it were psi" in verdict.refusal

    def test_of_several_recordings_it_is_named_which(self) -> None:
        good = replace(workshop_round(TURBO), label="monday.csv")
        odd = replace(scaled(good, "manifold_pressure", 1.0 / 6.894757), label="tuesday.csv")
        for verdict in (
            weigh([good, odd], TURBO, barometer=HERE).verdict,
            weigh([good], TURBO, baselines=[odd], barometer=HERE).verdict,
        ):
            assert verdict.refusal is not None
            assert verdict.refusal.startswith("tuesday.csv: the manifold pressure")

    def test_a_sound_recording_is_judged_without_a_doubt(self) -> None:
        verdict = weigh([workshop_round(TURBO)], TURBO, barometer=HERE).verdict
        assert (verdict.refusal, verdict.doubts) == (None, ())

    def test_a_barometer_for_sea_level_is_a_doubt_beside_the_verdict(self) -> None:
        day = barometer_of(altitude_m=350.0, barometer_kpa=101.3)
        verdict = weigh([workshop_round(TURBO)], TURBO, barometer=day).verdict
        assert verdict.refusal is None
        assert verdict.doubts == (day.doubt,)
