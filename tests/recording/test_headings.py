"""Headings of files: SAE J1979 names, J1930 abbreviations and plain words, in any order, case and style of unit."""

from __future__ import annotations

import re

import pytest

from airproof.recording.headings import recognise
from airproof.recording.signals import glossary

# Names after SAE J1979 (data item titles) and J1930 (abbreviations), written in the ways files write them.
KNOWN = [
    ("Engine RPM", "engine_speed", "1/min"),
    ("ENGINE_RPM ()", "engine_speed", "1/min"),
    ("Engine speed (rpm)", "engine_speed", "1/min"),
    ("engineSpeed_rad_s", "engine_speed", "rad/s"),
    ("Engine RPM [RPM]", "engine_speed", "1/min"),
    ("Manifold Absolute Pressure,kPa", "manifold_pressure", "kPa"),
    ("MAP [kPa]", "manifold_pressure", "kPa"),
    ("MAP_kPa", "manifold_pressure", "kPa"),
    ("Intake_Manifold_Pressure", "manifold_pressure", None),
    ("Intake manifold absolute pressure (inHg)", "manifold_pressure", "inHg"),
    ("manifold press. abs (mbar)", "manifold_pressure", "mbar"),
    ("boost", "charge_pressure", None),
    ("Boost pressure (psig)", "charge_pressure", "psi"),
    ("Intercooler_pressure", "charge_pressure", None),
    ("Boost Pressure Desired [hPa]", "charge_pressure_target", "hPa"),
    ("LTFT B1", "long_trim_1", None),
    ("LTFT1 (%)", "long_trim_1", "%"),
    ("Long Term Fuel Trim Bank 1 (%)", "long_trim_1", "%"),
    ("LONG_TERM_FUEL_TRIM_BANK_2 ()", "long_trim_2", None),
    ("STFT B2 %", "short_trim_2", "%"),
    ("Short term fuel % trim - Bank 1", "short_trim_1", None),
    ("Commanded Throttle Actuator", "throttle_target", None),
    ("COMMANDED_THROTTLE_ACTUATOR ()", "throttle_target", None),
    ("Calculated load", "load", None),
    ("ENGINE_LOAD ()", "load", None),
    ("Absolute load value (%)", "absolute_load", "%"),
    ("Air Flow Rate from Mass Flow Sensor [g/s]", "air_flow", "g/s"),
    ("MAF (g/s)", "air_flow", "g/s"),
    ("Mass air flow rate, lb/min", "air_flow", "lb/min"),
    ("Absolute Barometric Pressure", "barometric_pressure", None),
    ("BARO (kPa)", "barometric_pressure", "kPa"),
    ("ambient_pressure", "barometric_pressure", None),
    ("Timing advance", "ignition_advance", None),
    ("Ignition timing advance for #1 cylinder (°)", "ignition_advance", "deg"),
    ("Absolute Throttle Position [%]", "throttle", "%"),
    ("TPS (%)", "throttle", "%"),
    ("Accelerator Pedal Position D [%]", "pedal", "%"),
    ("PEDAL_E ()", "pedal", None),
    ("Intake air temp (°F)", "intake_temperature", "degF"),
    ("IAT C", "intake_temperature", "degC"),
    ("INTAKE_AIR_TEMP ()", "intake_temperature", None),
    ("Engine Coolant Temperature [Â°C]", "coolant_temperature", "degC"),
    ("ECT [degC]", "coolant_temperature", "degC"),
    ("Ambient Air Temperature [°C]", "ambient_temperature", "degC"),
    ("Vehicle Speed Sensor [km/h]", "vehicle_speed", "km/h"),
    ("Speed (mph)", "vehicle_speed", "mph"),
    ("VSS_kmh", "vehicle_speed", "km/h"),
    ("Commanded EGR (%)", "egr", "%"),
    ("COMMANDED_EVAPORATIVE_PURGE ()", "purge", None),
    ("Control module voltage (V)", "supply_voltage", "V"),
    ("Commanded equivalence ratio", "lambda_target", None),
    ("FUEL_AIR_COMMANDED_EQUIV_RATIO ()", "lambda_target", None),
    ("Lambda", "lambda", None),
    ("Wideband AFR", "lambda", "AFR"),
    ("Wastegate duty cycle (%)", "wastegate", "%"),
    ("Wastegate position (%)", "wastegate", "%"),
    ("Wastegate opening (%)", "wastegate", "%"),
    ("Fuel rail pressure (kPa)", "fuel_rail_pressure", "kPa"),
    ("injected_fuel_mass", "fuel_rate", None),
    ("Fuel system status", "fuel_system_status", None),
    ("MIL status", "lamp", None),
    ("Exhaust back pressure (kPa)", "exhaust_pressure", "kPa"),
    ("Turbo shaft speed (rpm)", "turbo_speed", "1/min"),
    ("time", "time", None),
    ("Time (ms)", "time", "ms"),
    ("Elapsed time, s", "time", "s"),
    ("time_s", "time", "s"),
    ("Timestamp", "time", None),
    ("ENGINE_RUN_TINE ()", "time", None),
]

# What must not be taken for something it only resembles.
OTHERS = [
    "CATALYST_TEMPERATURE_BANK1_SENSOR1 ()",
    "TIME_RUN_WITH_MIL_ON ()",
    "TIME_SINCE_TROUBLE_CODES_CLEARED ()",
    "DISTANCE_TRAVELED_WITH_MIL_ON ()",
    "WARM_UPS_SINCE_CODES_CLEARED ()",
    "FUEL_TANK ()",
    "Fuel tank pressure (kPa)",
    "Oil pressure (kPa)",
    "Oil temperature (°C)",
    "Tyre pressure (bar)",
    "O2 sensor voltage bank 1 (V)",
    "Torque (Nm)",
    "Latitude",
    "",
]


@pytest.mark.parametrize(("heading", "signal", "unit"), KNOWN)
def test_known(heading: str, signal: str, unit: str | None) -> None:
    found = recognise(heading)
    assert found is not None
    assert found.signal.name == signal
    assert (found.unit.unit if found.unit else None) == unit


@pytest.mark.parametrize("heading", OTHERS)
def test_others_are_left_alone(heading: str) -> None:
    assert recognise(heading) is None


def in_other_styles(heading: str) -> list[str]:
    """The heading with its words reversed, joined by underscores, and in title case; its unit stays where it is."""
    bracket = re.search(r"[\[(].*", heading)
    tail = bracket.group() if bracket else ""
    words = re.sub(r"Bank (\d)", r"Bank\1", heading.removesuffix(tail)).split()
    return [" ".join(reversed(words)) + " " + tail, "_".join(words) + tail, " ".join(words).title() + " " + tail]


STYLED = [
    (style, signal)
    for heading, signal, unit in KNOWN
    if "," not in heading and (unit is None or heading[-1] in ")]")
    for style in in_other_styles(heading)
]


@pytest.mark.parametrize(("heading", "signal"), STYLED)
def test_case_underscores_and_word_order_do_not_matter(heading: str, signal: str) -> None:
    found = recognise(heading)
    assert found is not None
    assert found.signal.name == signal


def test_pressures_say_what_they_are_counted_from() -> None:
    stated = {text: recognise(f"Boost ({text})") for text in ("psig", "bar abs", "kPa")}
    assert [found and found.unit and found.unit.reference for found in stated.values()] == ["gauge", "absolute", None]


def test_every_signal_of_the_design_is_there_with_a_source() -> None:
    # the agreed names of signals, a stable interface
    names = [
        "time",
        "engine_speed",
        "manifold_pressure",
        "charge_pressure",
        "charge_pressure_target",
        "barometric_pressure",
        "air_flow",
        "throttle",
        "throttle_target",
        "pedal",
        "intake_temperature",
        "ambient_temperature",
        "coolant_temperature",
        "load",
        "absolute_load",
        "short_trim_1",
        "long_trim_1",
        "short_trim_2",
        "long_trim_2",
        "lambda",
        "lambda_target",
        "vehicle_speed",
        "ignition_advance",
        "wastegate",
        "egr",
        "purge",
        "fuel_rail_pressure",
        "fuel_rate",
        "fuel_system_status",
        "supply_voltage",
        "exhaust_pressure",
        "turbo_speed",
        "lamp",
        "code_count",
    ]
    kinds = glossary().signals
    assert set(kinds) == set(names)
    assert all(kind.source and kind.title and kind.headings for kind in kinds.values())


def test_every_signal_is_recognised_by_its_own_name_and_title() -> None:
    for name, kind in glossary().signals.items():
        plain = re.sub(r"_([12])$", r"_bank_\1", name)
        found = recognise(plain)
        assert found is not None, name
        assert found.signal is kind, name


# Plain trade words of three languages; the units are what makers' data sheets and dashboards there print.
@pytest.mark.parametrize(
    ("heading", "signal", "unit"),
    [
        ("Drehzahl", "engine_speed", None),
        ("Motordrehzahl [U/min]", "engine_speed", "1/min"),
        ("Saugrohrdruck (kPa)", "manifold_pressure", "kPa"),
        ("Saugrohrdruck_kPa", "manifold_pressure", "kPa"),
        ("Ladedruck Ist [mbar]", "charge_pressure", "mbar"),
        ("Ladedruck Soll [mbar]", "charge_pressure_target", "mbar"),
        ("K\N{LATIN SMALL LETTER U WITH DIAERESIS}hlmitteltemperatur", "coolant_temperature", None),
        ("Kuehlmitteltemperatur [degC]", "coolant_temperature", "degC"),
        ("Au\N{LATIN SMALL LETTER SHARP S}entemperatur", "ambient_temperature", None),
        ("Luftmasse [kg/h]", "air_flow", "kg/h"),
        ("Umgebungsdruck", "barometric_pressure", None),
        ("Zeit [s]", "time", "s"),
        ("R\N{LATIN SMALL LETTER E WITH ACUTE}gime moteur (tr/min)", "engine_speed", "1/min"),
        ("Pression d'admission (kPa)", "manifold_pressure", "kPa"),
        ("Pression absolue du collecteur d\N{RIGHT SINGLE QUOTATION MARK}admission", "manifold_pressure", None),
        ("Pression de suralimentation (bar)", "charge_pressure", "bar"),
        ("Pression atmosph\N{LATIN SMALL LETTER E WITH GRAVE}rique", "barometric_pressure", None),
        ("D\N{LATIN SMALL LETTER E WITH ACUTE}bit massique d'air (g/s)", "air_flow", "g/s"),
        ("Temps (s)", "time", "s"),
        ("Position papillon (%)", "throttle", "%"),
        ("R\N{LATIN SMALL LETTER E WITH ACUTE}gimen del motor (rpm)", "engine_speed", "1/min"),
        ("PRESION COLECTOR DE ADMISION (kPa)", "manifold_pressure", "kPa"),
        ("Presi\N{LATIN SMALL LETTER O WITH ACUTE}n de carga", "charge_pressure", None),
        ("Temperatura del aire de admisi\N{LATIN SMALL LETTER O WITH ACUTE}n", "intake_temperature", None),
        ("Tiempo", "time", None),
        ("Mariposa (%)", "throttle", "%"),
    ],
)
def test_plain_words_of_other_languages(heading: str, signal: str, unit: str | None) -> None:
    found = recognise(heading)
    assert found is not None
    assert found.signal.name == signal
    assert (found.unit.unit if found.unit else None) == unit


@pytest.mark.parametrize(
    "heading",
    ["Druck", "Pression", "Temperatur", "Vitesse", "Velocidad", "Pression collecteur", "Abgastemperatur", "Charge",
     "Pression collecteur \N{LATIN SMALL LETTER E WITH ACUTE}chappement", "Saugrohrdruck Soll", "Drehzahl Soll",
     "Kurzzeit Kraftstofftrimm Bank 2", "D\N{LATIN SMALL LETTER E WITH ACUTE}bit", "Motor", "Last value", "Richesse",
     "Saugrohrdruck Sensorspannung"],
)  # fmt: skip
def test_what_may_mean_two_things_elsewhere_is_left_out(heading: str) -> None:
    assert recognise(heading) is None


def test_no_heading_of_another_language_is_lost_to_english() -> None:
    """Each group by itself means the signal it is written under, whatever English makes of its words."""
    for name, groups in glossary().elsewhere.items():
        for group in groups:
            found = recognise(" ".join(sorted(group)))
            assert found is not None, group
            assert found.signal.name == name, group
