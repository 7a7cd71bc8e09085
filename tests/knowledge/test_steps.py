"""What the shipped steps must hold: each cause can be told and cured, and nothing cures what it cannot."""

from __future__ import annotations

import pytest

from airproof.knowledge.load import knowledge

KNOWN = knowledge()
FAULTS = [cause for cause in KNOWN.causes if cause != "none"]

SENSOR_ERRORS = {
    "map-offset",
    "map-gain",
    "map-slow",
    "map-stuck",
    "map-circuit",
    "map-intermittent",
    "iat-offset",
}
MAY_CURE = {
    "replace-map-sensor": SENSOR_ERRORS,
    "clean-map-sensor": {"map-offset", "map-slow", "map-stuck"},
    "replace-boost-sensor": {"boost-sensor-scale"},
    "replace-barometric-sensor": {"baro-sensor"},
    "replace-air-flow-sensor": {"maf-scale"},
    "clean-air-flow-sensor": {"maf-scale"},
    "replace-temperature-sensor": {"iat-offset"},
    "mend-vacuum-leak": {"vacuum-leak"},
    "mend-charge-path": {"boost-leak"},
    "repair-plug-and-wiring": {"map-circuit", "map-intermittent", "supply-reference", "iat-offset"},
    "repair-5v-supply": {"supply-reference", "map-circuit"},
    "free-wastegate": {"wastegate-stuck-open", "wastegate-stuck-closed"},
    "replace-wastegate-actuator": {"wastegate-stuck-open", "wastegate-stuck-closed"},
    "replace-boost-control-valve": {"wastegate-stuck-open", "wastegate-stuck-closed"},
    "change-air-filter": {"intake-restriction"},
    "replace-catalyst": {"exhaust-restriction"},
    "repair-cam-timing": {"valve-timing"},
    "clean-egr-valve": {"egr-stuck-open"},
    "replace-egr-valve": {"egr-stuck-open"},
    "clean-throttle": {"throttle-deposits"},
    "replace-fuel-pump": {"fuel-delivery"},
    "service-injectors": {"fuel-delivery"},
    "replace-plugs-and-coil": {"ignition"},
    "replace-control-unit": {"control-unit", "baro-sensor"},
    "drive-and-watch": {"none"},
}


@pytest.mark.parametrize("cause", FAULTS)
def test_every_fault_can_be_cured(cause: str) -> None:
    chances = [step.cures[cause] for step in KNOWN.steps.values() if cause in step.cures]
    left = 1.0
    for chance in chances:
        left *= 1.0 - chance
    assert left <= 0.25


@pytest.mark.parametrize("cause", FAULTS)
def test_something_tells_about_every_fault(cause: str) -> None:
    ratios = [
        step.positive_given(cause) / step.otherwise for step in KNOWN.steps.values() if step.otherwise is not None
    ]
    assert max(ratios) >= 5.0


def test_no_step_cures_what_it_cannot() -> None:
    curing = {step.id: set(step.cures) for step in KNOWN.steps.values() if step.cures}
    assert curing.keys() == MAY_CURE.keys()
    for step, cures in curing.items():
        assert cures <= MAY_CURE[step], step


def test_exactly_one_step_ends_the_job_and_it_is_dear() -> None:
    ending = [step for step in KNOWN.steps.values() if step.ends]
    assert [step.id for step in ending] == ["send-to-specialist"]
    dearest = max(KNOWN.prices.part(step.part) for step in KNOWN.steps.values())
    assert KNOWN.prices.part(ending[0].part) == dearest


def test_steps_that_tell_cost_no_part() -> None:
    for step in KNOWN.steps.values():
        if step.tells:
            assert step.part is None, step.id
            assert step.kind in {"look", "measure", "record"}, step.id


def test_nothing_is_replaced_without_a_part() -> None:
    for step in KNOWN.steps.values():
        if step.kind == "replace":
            assert step.part is not None, step.id


@pytest.mark.parametrize(
    ("step", "word"),
    [
        ("record-pull", "passenger"),
        ("record-idle", "Carbon monoxide"),
        ("measure-back-pressure", "Carbon monoxide"),
        ("smoke-test-intake", "flammable"),
        ("pressure-test-charge-path", "relief valve"),
        ("mend-charge-path", "engine running"),
        ("clean-map-sensor", "burns"),
        ("clean-throttle", "burns"),
        ("measure-fuel-pressure", "pressure first"),
        ("check-ignition", "kill"),
        ("test-wastegate", "hot"),
        ("sweep-with-hand-pump", "68 kPa"),
        ("look-plug-and-wiring", "fan"),
        ("read-codes-again", "write them down"),
        ("repair-cam-timing", "strike"),
    ],
)
def test_dangerous_steps_say_so(step: str, word: str) -> None:
    assert word in " ".join(KNOWN.steps[step].cautions)


def test_limits_of_the_leak_test_are_those_of_the_manual() -> None:
    # US Army TM 5-3805-280-24-2, p. 13-513: 13.8 to 20.7 kPa (2 to 3 psi) regulated air; read.
    assert "14 to 21 kPa (2 to 3 psi)" in " ".join(KNOWN.steps["pressure-test-charge-path"].how)


def test_supply_limits_are_those_of_the_maker() -> None:
    # Toyota Tercel 1995, manifold pressure sensor test: 4.5 to 5.5 V at the connector; read.
    assert "4.5 to 5.5 V" in " ".join(KNOWN.steps["measure-supply-5v"].how)


def test_the_sensor_costs_what_practice_says() -> None:
    # Common practice, no source: 25 to 75 USD, 15 to 45 minutes.
    price = KNOWN.prices.parts["map-sensor"]
    assert (price.low, price.high, KNOWN.prices.currency) == (25.0, 75.0, "USD")
    assert 15.0 <= KNOWN.steps["replace-map-sensor"].minutes <= 45.0
