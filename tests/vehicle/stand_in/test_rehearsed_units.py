"""The stand-in answers as the rehearsed car: its items, codes, frames and readiness, old style and new."""

from __future__ import annotations

import pytest
import udsoncan
from invented_car import RESTS_S, SimulatedCar

from airproof.knowledge.vin import check_digit
from airproof.vehicle.answers.live import read_live
from airproof.vehicle.items import decode_one, items_announced, items_table
from airproof.vehicle.link.addresses import ELEVEN
from airproof.vehicle.stand_in.contents import INVENTED_VIN
from airproof.vehicle.stand_in.manners import all_manners
from airproof.vehicle.stand_in.rehearsed_car import RehearsedCar
from airproof.vehicle.stand_in.units import NewerUnit, OlderUnit, units_of


@pytest.fixture
def car(rehearsal) -> RehearsedCar:
    return RehearsedCar(rehearsal, RESTS_S)


@pytest.fixture
def older(car) -> OlderUnit:
    return units_of(car, ELEVEN)[0]


@pytest.fixture
def newer(car) -> NewerUnit:
    return units_of(car, ELEVEN, newer_style=True)[0]


def ask(unit, question: bytes, now_s: float = 0.0, *, to_all: bool = False, at_once: int = 6) -> bytes | None:
    return unit.answer(question, now_s, to_all=to_all, at_once=at_once)


def test_every_announced_item_is_answered_and_reads_as_what_the_car_has(car, older):
    now = RESTS_S + 60.0
    announced, base = set(), 0
    while True:
        numbers = items_announced(base, ask(older, bytes([1, base]))[2:])
        announced |= numbers
        if base + 0x20 not in numbers:
            break
        base += 0x20
    told = {}
    for number in sorted(n for n in announced if n % 0x20):
        payload = ask(older, bytes([1, number]), now)
        ((answered, data),) = read_live(payload, (number,)).parts
        assert answered == number
        item = items_table()[number]
        for value in item.values:
            found = decode_one(item, data)
            if value.signal in car.signals and value.name in found and value.unit != "1":
                assert found[value.name] == pytest.approx(car.value(value.signal, now), abs=0.51 * value.step)
                told[value.signal] = found[value.name]
    assert {"engine_speed", "manifold_pressure", "charge_pressure", "air_flow", "throttle"} <= told.keys()


def test_items_that_are_not_there_are_met_by_silence_or_left_out(older):
    assert ask(older, b"\x01\xc5") is None
    assert ask(older, b"\x01\x0c\xc5\x0d")[:2] == b"\x41\x0c"
    assert len(ask(older, b"\x01\x0c\xc5\x0d")) == 1 + 3 + 2
    assert len(ask(older, b"\x01\x0c\x0d", at_once=1)) == 4


def test_values_are_those_of_the_latest_step(car):
    trace = car.rehearsal.trace
    first = round(car.begins_s / 0.01)
    for row in (first, first + 1, first + 500, trace.time.size - 1):
        now = RESTS_S + (row - first) * 0.01 + 0.005
        assert car.value("engine_speed", now) == trace.items["engine_speed"][row]
        assert car.value("engine_speed", now + car.round_s) == trace.items["engine_speed"][row]
    assert car.value("engine_speed", 0.0) == trace.items["engine_speed"][first] == 0.0


def test_at_rest_the_sensors_have_settled(car):
    day = car.rehearsal.request.scene.barometer_kpa
    for now in (0.0, 0.5 * RESTS_S, RESTS_S, RESTS_S + 2.0):
        assert car.value("manifold_pressure", now) == pytest.approx(day + 15.0, abs=2.0)


def test_codes_are_those_of_the_rehearsal(car, older):
    stored = car.rehearsal.codes
    assert ask(older, b"\x03")[1] == len(stored.confirmed)
    assert ask(older, b"\x07")[1] == len(stored.pending)
    assert ask(older, b"\x0a")[1] == len(stored.permanent)
    assert ask(older, b"\x01\x01")[2] == 0x80 | len(stored.confirmed)


def test_clearing_needs_an_engine_that_stands_and_takes_codes_frames_and_readiness(car, older):
    while_driving = RESTS_S + 60.0
    assert ask(older, b"\x04", while_driving) == b"\x7f\x04\x22"
    assert ask(older, b"\x03", while_driving) != b"\x43\x00"
    permanent = ask(older, b"\x0a")
    assert ask(older, b"\x04", 1.0) == b"\x44"
    assert ask(older, b"\x03", 2.0) == b"\x43\x00"
    assert ask(older, b"\x07", 2.0) == b"\x47\x00"
    assert ask(older, b"\x02\x02\x00", 2.0) == b"\x42\x02\x00\x00\x00"
    assert ask(older, b"\x0a", 2.0) == permanent
    assert ask(older, b"\x01\x01", 2.0)[3] & 0x70, "no continuous monitor is complete"
    assert ask(older, b"\x07", car.round_s + 2.0)[1] > 0, "what fails again is back with the next drive"


def test_the_newer_style_answers_no_older_service(newer):
    for question in (b"\x01\x00", b"\x03", b"\x07", b"\x0a", b"\x09\x02", b"\x04"):
        assert ask(newer, question, to_all=True) is None
        assert ask(newer, question) == bytes([0x7F, question[0], 0x11])


def test_an_independent_reader_of_the_newer_style_reads_the_same_codes(car, newer):
    """udsoncan, an open library for ISO 14229-1, reads what we made."""
    response = udsoncan.Response.from_payload(ask(newer, b"\x19\x02\xff"))
    found = udsoncan.services.ReadDTCInformation.interpret_response(response, subfunction=2)
    codes = {dtc.id >> 8 for dtc in found.service_data.dtcs}
    assert codes == {int(code[1:], 16) for code in car.rehearsal.codes.confirmed | car.rehearsal.codes.pending}
    assert all(dtc.status.confirmed for dtc in found.service_data.dtcs)


def test_the_invented_number_of_the_car_has_a_right_check_digit_and_no_maker():
    assert INVENTED_VIN[0] == "0"
    assert check_digit(INVENTED_VIN) == INVENTED_VIN[8]


def test_all_manners_let_the_car_be_found_and_read(rehearsal):
    codes = rehearsal.codes
    for name in all_manners():
        for newer_style in (False, True):
            at = SimulatedCar(rehearsal, name, newer=newer_style, seed=5)
            readout = at.readout()
            if name != "rude":
                assert len(readout.units) == 2
                assert set(readout.codes("stored")) == codes.confirmed
                assert readout.vin == INVENTED_VIN
            assert at.clock.now() < 60.0
