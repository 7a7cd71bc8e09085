"""What the shipped causes, codes and symptoms must hold."""

from __future__ import annotations

import re

import pytest

from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Witness

KNOWN = knowledge()


def words(text: str) -> list[str]:
    """The words of a text that is easier to read than a list."""
    return re.findall(r"\S+", text)


CAUSES = words("""none map-offset map-gain map-slow map-stuck map-intermittent map-circuit supply-reference
boost-sensor-scale baro-sensor iat-offset maf-scale vacuum-leak boost-leak wastegate-stuck-open
wastegate-stuck-closed intake-restriction exhaust-restriction egr-stuck-open throttle-deposits valve-timing
fuel-delivery ignition control-unit""")

UNITS = {
    "map-offset": "kPa",
    "map-gain": "%",
    "map-slow": "s",
    "map-stuck": "kPa",
    "map-intermittent": "1/s",
    "supply-reference": "V",
    "boost-sensor-scale": "%",
    "baro-sensor": "kPa",
    "iat-offset": "K",
    "maf-scale": "%",
    "vacuum-leak": "mm",
    "boost-leak": "mm",
    "wastegate-stuck-open": "% open",
    "wastegate-stuck-closed": "% open",
    "intake-restriction": "x normal pressure drop",
    "exhaust-restriction": "x normal back pressure",
    "egr-stuck-open": "mm",
    "throttle-deposits": "% of area at idle",
    "fuel-delivery": "%",
}
SIGNED = {
    "map-offset",
    "map-gain",
    "supply-reference",
    "boost-sensor-scale",
    "baro-sensor",
    "iat-offset",
    "maf-scale",
    "fuel-delivery",
}

# The codes of the air path as SAE J2012 / ISO 15031-6 number them; from memory of the standard, those of
# pressure, air flow, temperature, mixture, boost and misfire also read in makers' service texts.
CODES = words("""
P0033 P0034 P0035 P0039 P0045 P0046 P0047 P0048 P0049 P004A P0068 P0069 P006A P006B P006C P006D
P0100 P0101 P0102 P0103 P0104 P0105 P0106 P0107 P0108 P0109 P0110 P0111 P0112 P0113 P0114
P0120 P0121 P0122 P0123
P0171 P0172 P0174 P0175 P0173 P0234 P0235 P0236 P0237 P0238 P0239 P0240 P0241 P0242 P0243 P0244 P0245 P0246
P0299 P02CB P0300 P0301 P0302 P0303 P0304 P0400 P0401 P0402 P0403 P0404 P0405 P0406 P0407 P0408 P0409 P0420
P0441 P0443 P0444 P0445 P0496 P0442 P0455 P0456 P0457 P0446 P0447 P0448 P0449 P0450 P0451 P0452 P0453 P0454
P0505 P0506 P0507 P0560 P0561 P0562 P0563 P0606 P0638 P0641 P0642 P0643 P0651 P0652 P0653 P0697 P0698 P0699
P2096 P2097 P2098 P2099 P2100 P2101 P2102 P2103 P2104 P2105 P2106 P2108 P2111 P2112 P2118 P2119 P2135
P2177 P2178 P2179 P2180 P2187 P2188 P2189 P2190 P2191 P2192 P2195 P2196 P2197 P2198
P2226 P2227 P2228 P2229 P227A P227B P227C P227D P227E P2261 P2262 P2263 P2279 P2280 P2281 P2282
P0470 P0471 P0472 P0473 P2002 P2003 P242F P244A P244B P2452 P2453 P2454 P2455 P2463 P2562 P2563 P2564 P2565
U0100 U0101""")


def test_every_cause_is_there_and_no_other() -> None:
    assert sorted(KNOWN.causes) == sorted(CAUSES)


@pytest.mark.parametrize("cause", CAUSES)
def test_sizes_have_the_agreed_unit_and_sign(cause: str) -> None:
    entry = KNOWN.causes[cause]
    assert entry.unit == UNITS.get(cause, "")
    assert (entry.size is not None and entry.size.signed) == (cause in SIGNED)


@pytest.mark.parametrize(
    ("cause", "engine", "can"),
    [
        ("boost-leak", ("naturally-aspirated", "speed-density", "petrol"), False),
        ("boost-leak", ("turbocharged", "speed-density", "petrol"), True),
        ("wastegate-stuck-open", ("supercharged", "both", "e85"), False),
        ("maf-scale", ("turbocharged", "speed-density", "petrol"), False),
        ("maf-scale", ("naturally-aspirated", "air-flow sensor", "e10"), True),
        ("maf-scale", ("turbocharged", "both", "petrol"), True),
        ("vacuum-leak", ("naturally-aspirated", "speed-density", "petrol"), True),
        ("none", ("supercharged", "both", "petrol"), True),
        ("ignition", ("turbocharged", "air-flow sensor", "diesel"), False),
        ("ignition", ("turbocharged", "air-flow sensor", "e85"), True),
    ],
)
def test_causes_apply_to_engines_that_can_have_them(cause: str, engine: tuple[str, str, str], can: bool) -> None:
    assert KNOWN.causes[cause].applies.to(*engine) is can


def test_equipment_that_a_cause_needs_can_be_shown_by_a_signal() -> None:
    for cause in KNOWN.causes.values():
        for need in cause.applies.needs:
            assert KNOWN.equipment[need].shown_by, need


@pytest.mark.parametrize("code", CODES)
def test_every_code_of_the_air_path_is_there(code: str) -> None:
    entry = KNOWN.codes[code]
    assert entry.sets
    assert entry.check_first
    assert entry.claims.endswith(".")


@pytest.mark.parametrize("code", ["P0110", "P0111", "P0112", "P0113", "P0114"])
def test_intake_temperature_is_not_taken_for_pressure(code: str) -> None:
    entry = KNOWN.codes[code]
    assert entry.family == "intake-temperature"
    assert "temperature" in entry.title
    assert not {"map-offset", "map-gain", "map-slow", "map-stuck"} & set(entry.sets)
    assert max(entry.sets, key=entry.given) == "iat-offset"


@pytest.mark.parametrize("code", ["P0105", "P0106", "P0107", "P0108", "P0109"])
def test_pressure_codes_speak_for_the_pressure_sensor(code: str) -> None:
    entry = KNOWN.codes[code]
    assert entry.family == "manifold-pressure"
    assert max(entry.sets, key=entry.given).startswith("map-")
    assert "iat-offset" not in entry.sets


@pytest.mark.parametrize("code", ["P0107", "P0108", "P0105"])
def test_a_voltage_out_of_range_speaks_for_the_wire_first(code: str) -> None:
    entry = KNOWN.codes[code]
    assert max(entry.sets, key=entry.given) == "map-circuit"
    assert entry.check_first[0] == "look-plug-and-wiring"


def witnesses() -> list[Witness]:
    return [*KNOWN.codes.values(), *KNOWN.symptoms.values()]


@pytest.mark.parametrize("witness", witnesses(), ids=lambda w: w.id)
def test_probabilities_are_sane(witness: Witness) -> None:
    assert witness.by_chance <= 0.4
    assert max(witness.sets.values()) > witness.by_chance, "it speaks for something"
    for cause, probability in witness.sets.items():
        assert 0.0 < probability < 0.98, cause


def test_no_code_is_as_good_as_certain_by_any_cause() -> None:
    for code in KNOWN.codes.values():
        assert max(code.sets.values()) <= 0.6, code.id
        assert code.by_chance <= 0.03, code.id


def test_every_cause_has_a_symptom_or_code_that_speaks_for_it() -> None:
    for cause in KNOWN.causes:
        if cause != "none":
            assert any(w.given(cause) > 3.0 * w.by_chance for w in witnesses()), cause


@pytest.mark.parametrize(
    "symptom",
    words("""rough-idle high-idle stalling hesitation limp-mode lamp-on thirst low-power surging black-smoke
    whistle hard-start knock overboost-feel fuel-smell"""),
)
def test_symptoms_are_there(symptom: str) -> None:
    assert KNOWN.symptoms[symptom].says.endswith(".")


def test_text_is_in_plain_letters_and_short() -> None:
    for cause in KNOWN.causes.values():
        assert len(cause.title) <= 70
        assert cause.says.count(".") == 1, cause.id
