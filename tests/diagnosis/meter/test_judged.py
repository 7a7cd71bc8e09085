"""A plain verdict on each thing measured, with the workshop's published examples."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sessions import GOOD_METER, KPA_PER_INCH, line, session, volts

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.meter.expected_here import expected_ohm, expected_signal, expected_thermistor_volts
from airproof.diagnosis.meter.judged import Judged, judge
from airproof.diagnosis.meter.measured import Measured, Measurements, Sensor
from airproof.diagnosis.meter.pressures import Supply
from airproof.diagnosis.meter.typed_values import Point, Taken, taken
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.load import knowledge
from airproof.quantities.meter import ground_drop_output

KNOWN = knowledge()
DAY = Barometer(98.0, 0.4, "stated")
NTC = KNOWN.thermistors["ntc-2500-ohm"]


def one(item: Measured, sensor: Sensor | None = None, day: Barometer = DAY) -> Judged:
    session_ = Measurements((item,), GOOD_METER, sensor or Sensor(line=line()))
    return judge(session_, day, KNOWN).items[0]


@pytest.mark.parametrize(
    ("read", "outcome"),
    # 4.5 to 5.5 V is accepted by one maker (Toyota 1995), 5.00 V give or take 0.10 V is usual (from memory)
    [
        ("5.02 V", "right"), ("4.95 V", "right"), ("4.80 V", "low"), ("4.2 V", "low"), ("5.30 V", "high"),
        ("11.8 V", "high"), ("0.02 V", "none"),
    ],
)  # fmt: skip
def test_supply(read: str, outcome: str) -> None:
    judged = one(Measured("supply", 1, value=taken(read, "V")))
    assert judged.outcome == outcome
    assert judged.found == (outcome != "right")


def test_a_low_supply_hurts_only_a_fixed_reference() -> None:
    # 4.80 V instead of 5.00 V: -4.0 % against a fixed reference (arithmetic), none against the same supply
    assert "4.0 % low" in one(Measured("supply", 1, value=taken("4.80 V", "V"))).says


@pytest.mark.parametrize(
    ("read", "outcome"),
    # at most 0.1 V with the circuit loaded, good ones 0.05 V: common practice, no source
    [
        ("0.03 V", "right"),
        ("0.05 V", "right"),
        ("98 mV", "right"),
        ("0.15 V", "high"),
        ("0.45 V", "high"),
        ("-0.20 V", "low"),
    ],
)
def test_ground_drop(read: str, outcome: str) -> None:
    assert one(Measured("ground", 1, value=taken(read, "V"))).outcome == outcome


def test_what_a_ground_drop_does_to_this_sensor() -> None:
    # 0.15 V at 20.4 mV/kPa and 5.1 V: 7.4 kPa; a drop of 0.1 V is about 4.9 kPa (arithmetic of the same page)
    says = one(Measured("ground", 1, value=taken("0.15 V", "V"))).says
    assert "7.5 kPa" in says  # at 5.00 V: 20 mV/kPa


def test_a_lifted_ground_is_read_as_an_offset_at_low_pressure() -> None:
    # The formula of a lifted ground against the control unit's: 0.1 V lifts a 20 kPa reading by 4.9 kPa
    low = float(ground_drop_output(0.204, 0.1, 5.1))
    assert (low - 0.204) / 0.0204 == pytest.approx(4.7, abs=0.2)


def test_the_signal_here_and_today() -> None:
    # 4250A at 5.10 V: 100 kPa -> 1.8360 V, 101.325 kPa -> 1.8630 V (data sheet)
    supply = Supply(5.10, 0.003, measured=True)
    for kpa, read in ((100.0, 1.8360), (101.325, 1.8630)):
        band = expected_signal(line(), Barometer(kpa, 0.4, ""), supply, GOOD_METER)
        assert band.value == pytest.approx(read, abs=5e-5)
        assert band.low < read < band.high
    # Denver, 1609 m: 83.4 kPa usual (standard atmosphere), so 0.004 x 83.43 - 0.04 of 5.1 V
    denver = expected_signal(line(), barometer_of(altitude_m=1609.344), supply, GOOD_METER)
    assert denver.value == pytest.approx(5.1 * (0.004 * 83.4318 - 0.04), abs=2e-4)


def test_the_band_grows_with_cold_weather_and_a_poor_meter() -> None:
    supply = Supply(5.0, 0.05, measured=False)
    near = expected_signal(line(), DAY, supply, GOOD_METER)
    # 4250A: 3.45 kPa at 25 degC, 6.9 at -20 (data sheet's factor 2)
    cold = expected_signal(line(), DAY, supply, GOOD_METER, temperature_c=-20.0)
    assert cold.parts["sensor"] == pytest.approx(2.0 * near.parts["sensor"])
    weather = expected_signal(line(), replace(DAY, sd_kpa=4.0), supply, GOOD_METER)
    assert weather.high - weather.low > near.high - near.low
    lines = line("car-uncharged-40-mv")
    assert expected_signal(lines, DAY, supply, GOOD_METER).parts["sensor"] > 0.0


def test_without_a_supply_nothing_that_the_sensor_gives_is_judged() -> None:
    unfed = Measured("supply", 1, value=taken("0.5 V", "V"))
    signal = Measured("signal", 2, value=taken("1.85 V", "V"))
    at = [Point(kpa, False, f"{kpa} kPa", taken(read, "V")) for kpa, read in ((98.0, "1.85 V"), (50.0, "0.80 V"))]
    sweep = Measured("sweep", 3, points=tuple(at))
    judged = judge(Measurements((unfed, signal, sweep), GOOD_METER, Sensor(line=line())), DAY, KNOWN)
    assert [one.outcome for one in judged.items] == ["none", "cannot-tell", "cannot-tell"]
    assert "mend the supply" in judged.items[1].says
    assert judged.fitted is None


@pytest.mark.parametrize(
    ("read", "outcome"),
    # 0 V or the supply is a circuit fault (Chrysler 1995); makers' limits 0.04 to 0.2 V and 4.9 V
    [("0.02 V", "grounded"), ("5.00 V", "railed"), ("1.76 V", "right"), ("1.95 V", "high"), ("1.55 V", "low")],
)
def test_signal(read: str, outcome: str) -> None:
    assert one(Measured("signal", 1, value=taken(read, "V"))).outcome == outcome


def test_without_a_line_the_signal_tells_no_pressure() -> None:
    judged = one(Measured("signal", 1, value=taken("1.76 V", "V")), Sensor())
    assert judged.outcome == "cannot-tell"
    assert not judged.found


def test_sweeps() -> None:
    outcomes = {}
    for name, measured in {
        "right": session(),
        "offset": session(offset=9.0),
        "gain": session(gain=0.10),
    }.items():
        outcomes[name] = judge(measured, DAY, KNOWN).of("sweep")
    for name, judged in outcomes.items():
        assert judged is not None
        assert judged.outcome == name


def test_a_dead_sensor_hardly_moves() -> None:
    points = tuple(Point(-KPA_PER_INCH * k, True, "", volts(1.75)) for k in (0, 5, 10, 15, 20))
    for sensor in (Sensor(line=line()), Sensor()):
        assert one(Measured("sweep", 1, points=points), sensor).outcome == "stuck"


def test_a_sweep_that_creeps() -> None:
    measured = session()
    items = tuple(replace(i, creeps=True) if i.what == "sweep" else i for i in measured.items)
    judged = judge(replace(measured, items=items), DAY, KNOWN).of("sweep")
    assert judged is not None
    assert judged.outcome == "creeps"


@pytest.mark.parametrize(
    ("read", "celsius", "outcome"),
    # nominal table (Jeep 2020): 2502 ohm at 20 degC, 5975 at 0, 308.6 at 80
    [("2.50 kohm", 20.0, "right"), ("5.98 kohm", 0.0, "right"), ("308 ohm", 80.0, "right"), ("1.15 kohm", 20.0, "low"),
     ("9.8 kohm", 20.0, "high"), ("endless", 20.0, "high"), ("3 ohm", 20.0, "low")],
)  # fmt: skip
def test_thermistor(read: str, celsius: float, outcome: str) -> None:
    item = Measured("thermistor", 1, value=taken(read, "ohm", "V"), temperature_c=celsius)
    assert one(item, Sensor(thermistor=NTC)).outcome == outcome


def test_thermistor_volts_behind_the_printed_resistor() -> None:
    # Saab: 5 V through 2.74 kohm; 20 degC about 2.4 V, 80 degC about 0.54 V; 2.5 kohm is 2.385 V (computed)
    table = KNOWN.thermistors["ntc-2470-ohm-divider"]
    item = Measured("thermistor", 1, value=taken("2.38 V", "ohm", "V"), temperature_c=20.0)
    assert one(item, Sensor(thermistor=table)).outcome == "right"
    ohms = expected_ohm(table, 20.0, 0.0)
    assert ohms is not None
    assert (ohms.low, ohms.high) == (pytest.approx(2100.0), pytest.approx(2900.0))
    band = expected_thermistor_volts(table, ohms, Supply(5.0, 0.05, measured=False))
    assert band is not None
    assert band.value == pytest.approx(2.4, abs=0.05)
    # Without the resistor volts tell nothing, and it is said.
    cannot = one(Measured("thermistor", 1, value=taken("2.38 V", "V"), temperature_c=20.0), Sensor(thermistor=NTC))
    assert cannot.outcome == "cannot-tell"


def test_wires() -> None:
    for wire, to, read, outcome in (
        ("signal", "control unit", "0.4 ohm", "right"),
        ("signal", "control unit", "endless", "open"),
        ("ground", "control unit", "12 ohm", "open"),
        ("signal", "ground", "endless", "right"),
        ("signal", "ground", "3 ohm", "short"),
        ("ground", "ground", "0.3 ohm", "right"),
    ):
        item = Measured("wire", 1, value=taken(read, "ohm"), wire=wire, to=to)  # type: ignore[arg-type]
        assert one(item).outcome == outcome


def test_a_wire_is_not_apart_from_itself() -> None:
    joined, far = (
        one(Measured("wire", 1, value=taken(read, "ohm"), wire="ground", to="ground"))
        for read in ("0.3 ohm", "300 ohm")
    )
    assert (joined.outcome, far.outcome) == ("right", "cannot-tell")
    assert "apart" not in joined.says + far.says
    assert "control unit" in far.says


def test_what_live_data_shows_stands_beside_the_plug() -> None:
    live = Taken(107.0, 1.0, "kPa", "107 kPa")
    signal = Measured("signal", 1, value=taken("1.77 V", "V"), shown=live)
    judged = judge(Measurements((signal,), GOOD_METER, Sensor(line=line())), DAY, KNOWN)
    (plug,), (car,) = judged.items, judged.live
    assert (plug.outcome, car.outcome, car.found) == ("right", "high", True)
    assert "the plug is right, so it is the wire or the control unit" in car.says
    (car,) = judge(Measurements((signal,), GOOD_METER), DAY, KNOWN).live  # nobody knows the sensor's line
    assert car.found
    assert "the plug is right" not in car.says


def test_digital() -> None:
    # 3.5 to 4.2 V on average for frames of 152 to 272 ticks at 5 V
    for read, outcome in (("3.8 V", "right"), ("0.1 V", "grounded"), ("4.99 V", "railed")):
        assert one(Measured("digital", 1, value=taken(read, "V"))).outcome == outcome


def test_live_data_alone_is_judged_too() -> None:
    points = tuple(
        Point(-KPA_PER_INCH * k, True, "", Taken(98.0 - KPA_PER_INCH * k + 9.0, 1.0, "kPa", "")) for k in (0, 5, 10, 15)
    )
    judged = judge(Measurements((Measured("sweep", 1, points=points),), GOOD_METER), DAY, KNOWN)
    assert judged.items[0].task == "live-sweep"
    assert judged.items[0].found
    assert judged.shown is not None
    assert judged.shown.errors[0].error[0] == pytest.approx(9.0, abs=0.2)


def test_the_files_own_day_goes_before() -> None:
    measured = replace(session(day=90.0), day=Barometer(90.0, 0.4, "stated"))
    assert judge(measured, DAY, KNOWN).barometer.kpa == 90.0
    assert not any(item.found for item in judge(measured, DAY, KNOWN).items)
