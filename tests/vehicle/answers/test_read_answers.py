"""Answers of the diagnostic services, byte for byte.

Real and published ones name where they were read; those "from memory" hold the readers to what is remembered of SAE
J1979, ISO 14229-1 and SAE J1979-2, and prove nothing about cars.
"""

from __future__ import annotations

import pytest

from airproof.errors import UnusableAnswer, UnusableRequest
from airproof.vehicle.answers.car_information import (
    CALIBRATION_IDS,
    CALIBRATION_NUMBERS,
    CAR_INFORMATION,
    RATIOS_SPARK,
    VIN,
    car_information_answer,
    read_car_information,
)
from airproof.vehicle.answers.code_text import code_number, code_text
from airproof.vehicle.answers.codes import PENDING, PERMANENT, STORED, codes_answer, read_codes
from airproof.vehicle.answers.live import (
    BY_IDENTIFIER,
    FRAME,
    LIVE,
    frame_answer,
    frame_request,
    identifier_answer,
    identifier_request,
    live_answer,
    live_request,
    read_frame,
    read_live,
)
from airproof.vehicle.answers.monitor_results import (
    MONITOR_RESULTS,
    MonitorResult,
    monitor_results_answer,
    monitors_answer,
    read_monitor_results,
    unit_and_scaling,
)
from airproof.vehicle.answers.newer import (
    ALL_GROUPS,
    BY_SEVERITY,
    BY_STATUS,
    COUNT,
    FAULT_COUNTERS,
    FRAME_OF_CODE,
    READ_CODES,
    SUPPORTED,
    CodeReport,
    CodeStatus,
    FrameOfCode,
    Further,
    by_status_request,
    clear_request,
    codes_report,
    fault_counters,
    frame_of_code_answer,
    frame_of_code_request,
    read_by_identifier,
    read_code_count,
    read_code_report,
    read_frame_of_code,
)
from airproof.vehicle.answers.newer import PERMANENT as PERMANENT_CODES
from airproof.vehicle.answers.readiness import CarReadiness, read_readiness, readiness_bytes
from airproof.vehicle.answers.refusals import is_refusal, read_refusal, refusal_answer
from airproof.vehicle.items import bitmap_bytes
from airproof.vehicle.link.guard import CLEARING, reads

hexed = bytes.fromhex


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (0x0135, "P0135"),  # read: talk.maemo.org, showpost 1257514; the rest computed from the same bits
        (0x0133, "P0133"),
        (0x0106, "P0106"),
        (0x0299, "P0299"),
        (0x2279, "P2279"),
        (0x0A0F, "P0A0F"),
        (0x4035, "C0035"),
        (0x9234, "B1234"),
        (0xC100, "U0100"),
        (0xFFFF, "U3FFF"),
    ],
)
def test_codes_in_two_bytes(number: int, text: str) -> None:
    assert code_text(number) == text
    assert code_number(text) == number


def test_what_is_no_code_is_refused() -> None:
    with pytest.raises(UnusableRequest, match="is not a code"):
        code_number("P9106")


def test_a_real_cars_codes_on_can() -> None:
    # Read in a forum thread that quotes a manual: the air flow sensor's plug is off, and its temperature goes with it.
    found = read_codes(hexed("43 02 01 02 01 13"))
    assert (found.status, found.codes, found.assumed) == ("stored", ("P0102", "P0113"), ())
    assert codes_answer(STORED, ["P0102", "P0113"]) == hexed("43 02 01 02 01 13")


def test_codes_without_can_come_in_three_slots_and_no_count() -> None:
    without = hexed("43 01 33 00 00 00 00")  # the same thread
    with pytest.raises(UnusableAnswer, match="43 01 33"):
        read_codes(without)
    found = read_codes(without, "forgiving")
    assert found.codes == ("P0133",)
    assert "no number of codes" in found.assumed[0]


@pytest.mark.parametrize(
    ("payload", "codes", "status"),
    [  # from memory of SAE J1979
        ("43 00", (), "stored"),
        ("47 01 01 71", ("P0171",), "pending"),
        ("4A 01 01 06", ("P0106",), "permanent"),
        ("43 02 01 02 00 00", ("P0102",), "stored"),  # 0000 fills a slot
    ],
)
def test_codes_by_service(payload: str, codes: tuple[str, ...], status: str) -> None:
    found = read_codes(hexed(payload))
    assert (found.codes, found.status) == (codes, status)


@pytest.mark.parametrize("service", [STORED, PENDING, PERMANENT])
def test_codes_go_there_and_back(service: int) -> None:
    codes = ("P0106", "U0100", "B1234", "C0035")
    assert read_codes(codes_answer(service, codes)).codes == codes


def test_a_wrong_number_of_codes_is_said() -> None:
    wrong = hexed("43 05 01 02 01 13")
    with pytest.raises(UnusableAnswer):
        read_codes(wrong)
    found = read_codes(wrong, "forgiving")
    assert found.codes == ("P0102", "P0113")
    assert "announces 5 codes and holds 2" in found.assumed[0]
    assert read_codes(b"\x43", "forgiving").codes == ()
    with pytest.raises(UnusableAnswer):
        read_codes(hexed("44"), "forgiving")


def test_several_items_in_one_answer() -> None:
    payload = hexed("41 0C 1A F8 0B 65 0D 32 10 01 A4")
    parts = ((0x0C, hexed("1AF8")), (0x0B, b"\x65"), (0x0D, b"\x32"), (0x10, hexed("01A4")))
    assert read_live(payload).parts == parts
    assert read_live(payload, asked=(0x0C, 0x0B, 0x0D, 0x10)).parts == parts
    assert live_answer(parts) == payload
    assert live_request([0x0C, 0x0B]) == hexed("01 0C 0B")
    with pytest.raises(UnusableRequest, match="7 items"):
        live_request(range(7))
    with pytest.raises(UnusableAnswer):  # one byte too few
        read_live(payload[:-1])
    with pytest.raises(UnusableAnswer):  # an item that was not asked for
        read_live(payload, asked=(0x0C, 0x0B))


def test_disputed_lengths_are_found_by_what_fits() -> None:
    nine = bytes([0x41, 0x70, *range(9), 0x0C, 0x1A, 0xF8])  # item 70 with 9 bytes in place of 10
    with pytest.raises(UnusableAnswer):
        read_live(nine, asked=(0x70, 0x0C))
    found = read_live(nine, asked=(0x70, 0x0C), mode="forgiving")
    assert found.parts == ((0x70, bytes(range(9))), (0x0C, hexed("1AF8")))
    assert found.assumed == ()


def test_what_cannot_be_told_apart_goes_to_the_last_item() -> None:
    found = read_live(hexed("41 0C 1A F8 0B 65 66"), mode="forgiving")
    assert found.parts == ((0x0C, hexed("1AF8")), (0x0B, hexed("6566")))
    found = read_live(hexed("41 E7 01 02 03"), mode="forgiving")  # no item of the table
    assert found.parts == ((0xE7, hexed("010203")),)


def test_a_single_item_asked_for_has_all_the_data() -> None:
    assert read_live(hexed("41 05 7B 00"), asked=(0x05,)).parts == ((0x05, hexed("7B00")),)


def test_freeze_frames() -> None:  # from memory of SAE J1979: 42, item, frame, data
    assert frame_request(0x0C) == hexed("02 0C 00")
    found = read_frame(hexed("42 02 00 01 06"))
    assert (found.parts, found.frame) == (((0x02, hexed("0106")),), 0)
    parts = ((0x0C, hexed("1AF8")), (0x0B, b"\x65"))
    assert read_frame(frame_answer(parts, frame=1)).parts == parts
    assert read_frame(frame_answer(parts, frame=1)).frame == 1


def test_readiness_of_the_worked_bytes() -> None:
    # Computed from the bits as a stored text of ISO 15031-5 has them.
    found = read_readiness(hexed("81 07 65 04"))
    assert (found.lamp, found.code_count, found.ignition) == (True, 1, "spark")
    incomplete = {"evaporative-system"}
    there = {"misfire", "fuel-system", "components", "catalyst", "oxygen-sensor", "oxygen-sensor-heater"} | incomplete
    assert found.complete == {name: name not in incomplete for name in there}
    assert readiness_bytes(found) == hexed("81 07 65 04")


@pytest.mark.parametrize(
    ("byte", "bit", "monitor"),
    [  # the same text: B0 to B2, their "not complete" four bits up; C0 to C7, theirs in D in the same order
        (1, 0, "misfire"),
        (1, 1, "fuel-system"),
        (1, 2, "components"),
        (2, 0, "catalyst"),
        (2, 1, "heated-catalyst"),
        (2, 2, "evaporative-system"),
        (2, 3, "secondary-air"),
        (2, 4, "petrol-particle-filter"),  # air conditioning in the text; that this changed is from memory
        (2, 5, "oxygen-sensor"),
        (2, 6, "oxygen-sensor-heater"),
        (2, 7, "egr"),
    ],
)
def test_readiness_bit_by_bit(byte: int, bit: int, monitor: str) -> None:
    data = bytearray(4)
    data[byte] = 1 << bit
    assert read_readiness(bytes(data)).complete == {monitor: True}
    data[byte if byte == 1 else 3] |= 1 << (bit + 4 if byte == 1 else bit)
    assert read_readiness(bytes(data)).complete == {monitor: False}


def test_the_lamp_and_the_number_of_codes() -> None:
    assert read_readiness(hexed("80 00 00 00")).lamp
    assert [read_readiness(bytes([n, 0, 0, 0])).code_count for n in (0, 1, 127)] == [0, 1, 127]
    assert (read_readiness(hexed("00 08 00 00")).ignition, read_readiness(bytes(4)).ignition) == (
        "compression",
        "spark",
    )


def test_boost_pressure_control_is_a_monitor_of_compression_ignition_only() -> None:
    told = CarReadiness(False, 0, "compression", {"misfire": True, "boost-pressure-control": False})
    data = readiness_bytes(told)
    assert read_readiness(data) == told
    spark = bytes([data[0], data[1] & ~0x08, *data[2:]])
    assert "boost-pressure-control" not in read_readiness(spark).complete
    assert "secondary-air" in read_readiness(spark).complete


def test_monitor_results() -> None:
    # From memory of SAE J1979: 46, then monitor, test, unit and scaling, value, lowest, highest.
    found = read_monitor_results(hexed("46 01 01 0A 0E A6 0B B8 13 88"))
    (result,) = found.results
    assert (result.unit, result.known_unit, result.passed) == ("V", True, True)
    assert result.value == pytest.approx(0x0EA6 * 0.000122)
    assert result.title == "oxygen sensor, bank 1 sensor 1, rich to lean, volts at the switch"
    failed = MonitorResult(0x85, 0x80, 0x1A, 140.0, 0.0, 120.0, "kPa", known_unit=True)
    assert not read_monitor_results(monitor_results_answer([failed])).results[0].passed
    assert read_monitor_results(monitor_results_answer([result, failed])).results == (result, failed)


def test_signed_units_and_unknown_ones() -> None:
    temperature = unit_and_scaling(0x96)
    assert temperature is not None
    assert temperature.value(0xFFF6) == pytest.approx(-1.0)
    assert temperature.code(-1.0) == 0xFFF6
    (odd,) = read_monitor_results(hexed("46 E1 83 7F 00 05 00 00 FF FF")).results
    assert (odd.value, odd.unit, odd.known_unit) == (5.0, "1", False)


def test_monitors_announced() -> None:
    payload = monitors_answer(0x80, bitmap_bytes(0x80, [0x81, 0x85]))
    assert read_monitor_results(payload).announced == {0x81, 0x85}
    cut = payload + b"\x01\x02"
    with pytest.raises(UnusableAnswer):
        read_monitor_results(cut)
    assert read_monitor_results(cut, "forgiving").assumed


def test_the_vin_of_a_constructed_car() -> None:
    # VIN 1M8GDM9AXKP042788, read at pandsauto.ca and autocalculator.org as an example of the check digit.
    payload = hexed("49 02 01 31 4D 38 47 44 4D 39 41 58 4B 50 30 34 32 37 38 38")
    assert read_car_information(payload).texts == ("1M8GDM9AXKP042788",)
    assert car_information_answer(VIN, ["1M8GDM9AXKP042788"]) == payload
    padded = hexed("49 02 01") + b"\0\0\0ABC" + bytes(11)
    assert read_car_information(padded).texts == ("ABC",)


def test_other_information() -> None:  # from memory of SAE J1979
    ids = car_information_answer(CALIBRATION_IDS, ["A1234567", "B7654321"])
    assert read_car_information(ids).texts == ("A1234567", "B7654321")
    numbers = car_information_answer(CALIBRATION_NUMBERS, ["1791BC82"])
    assert numbers == hexed("49 06 01 17 91 BC 82")
    assert read_car_information(numbers).texts == ("1791BC82",)
    ratios = car_information_answer(RATIOS_SPARK, {"conditions met": 300, "ignition cycles": 812})
    counters = read_car_information(ratios).counters
    assert counters is not None
    assert (counters["conditions met"], counters["ignition cycles"], len(counters)) == (300, 812, 20)
    assert read_car_information(hexed("49 00 55 40 00 00")).announced == {0x02, 0x04, 0x06, 0x08, 0x0A}


def test_information_that_does_not_fit() -> None:
    without_count = hexed("49 06 17 91 BC 82")
    with pytest.raises(UnusableAnswer):
        read_car_information(without_count)
    found = read_car_information(without_count, "forgiving")
    assert found.texts == ("1791BC82",)
    assert found.assumed
    odd = hexed("49 02 01") + b"1M8GDM9A\xc4KP042788"
    with pytest.raises(UnusableAnswer):
        read_car_information(odd)
    assert read_car_information(odd, "forgiving").texts == ("1M8GDM9A?KP042788",)
    with pytest.raises(UnusableRequest):
        car_information_answer(VIN, ["1M8GDM9AXKP042788X"])
    with pytest.raises(UnusableRequest):
        car_information_answer(0x77, ["X"])


REFUSALS = {
    "10": "without a reason",
    "11": "service is not supported",
    "12": "part of the service is not supported",
    "13": "wrong length or form",
    "14": "too long",
    "21": "busy",
    "22": "conditions",
    "24": "order",
    "31": "nothing there",
    "33": "denied",
    "35": "key is wrong",
    "36": "attempts",
    "37": "delay",
    "72": "programming",
    "78": "will follow",
    "7E": "not for this session",
    "7F": "not for this session",
    "81": "speed is too high",
    "82": "speed is too low",
    "83": "is running",
    "84": "not running",
    "92": "voltage is too high",
    "93": "voltage is too low",
}
"""ISO 14229-1, as several listings print it: all that they have."""


@pytest.mark.parametrize(("code", "words"), REFUSALS.items())
def test_refusals_by_name(code: str, words: str) -> None:
    refusal = read_refusal(hexed(f"7F 04 {code}"))
    assert (refusal.service, refusal.code) == (0x04, int(code, 16))
    assert words in refusal.says
    assert (refusal.is_pending, refusal.is_busy) == (code == "78", code == "21")
    assert refusal_answer(0x04, int(code, 16)) == hexed(f"7F 04 {code}")


def test_refusals_that_are_none() -> None:
    assert "not in the list" in read_refusal(hexed("7F 01 EE")).says
    assert read_refusal(hexed("7F 01 21")).is_busy
    assert not is_refusal(hexed("41 0C 1A F8"))
    for payload in ("7F 01", "41 0C 1A F8", ""):
        with pytest.raises(UnusableAnswer):
            read_refusal(hexed(payload))


def test_an_answer_is_its_request_and_40h() -> None:  # read: the list of services
    answers = {
        LIVE: live_answer([(0x0C, hexed("1AF8"))]),
        FRAME: frame_answer([(0x0C, hexed("1AF8"))]),
        STORED: codes_answer(STORED, []),
        PENDING: codes_answer(PENDING, []),
        PERMANENT: codes_answer(PERMANENT, []),
        MONITOR_RESULTS: monitors_answer(0, bytes(4)),
        CAR_INFORMATION: car_information_answer(VIN, ["1M8GDM9AXKP042788"]),
        READ_CODES: codes_report(CodeReport(BY_STATUS, (), 0xFF)),
        BY_IDENTIFIER: identifier_answer([(0x0C, hexed("1AF8"))]),
    }
    assert list(answers) == [0x01, 0x02, 0x03, 0x07, 0x0A, 0x06, 0x09, 0x19, 0x22]
    assert {service: answer[0] - 0x40 for service, answer in answers.items()} == {one: one for one in answers}


def test_reports_of_service_19() -> None:
    # Read: mk4-wiki.denkdose.de, service 19. What is answered to 06 is not read, and nothing here asks for it.
    reports = {COUNT: 0x01, BY_STATUS: 0x02, FRAME_OF_CODE: 0x04, SUPPORTED: 0x0A, FAULT_COUNTERS: 0x14}
    reports |= {PERMANENT_CODES: 0x15, BY_SEVERITY: 0x42}
    assert all(name == number for name, number in reports.items())
    with pytest.raises(UnusableAnswer, match="59 06"):
        read_code_report(hexed("59 06 01 06 17 2F"), "forgiving")
    assert clear_request(ALL_GROUPS) == hexed("14 FF FF FF")  # read; the guard lets none but the emissions group pass
    assert not reads(clear_request(ALL_GROUPS))
    assert clear_request(ALL_GROUPS) not in CLEARING


def test_codes_of_a_newer_car() -> None:  # from memory of ISO 14229-1 and SAE J1979-2
    assert by_status_request() == hexed("19 02 FF")
    found = read_code_report(hexed("59 02 FF 01 06 17 2F 22 63 00 04"))
    assert [one.written for one in found.codes] == ["P0106-17", "P2263-00"]
    assert found.codes[0].statuses == ("stored", "pending", "present")
    assert found.codes[1].statuses == ("pending",)
    assert codes_report(found) == hexed("59 02 FF 01 06 17 2F 22 63 00 04")
    by_severity = CodeReport(BY_SEVERITY, (CodeStatus("P0106", 0x17, 0x08),), 0xFF)
    assert read_code_report(codes_report(by_severity)) == by_severity
    assert read_code_report(hexed("59 02 FF")).codes == ()
    with pytest.raises(UnusableAnswer):
        read_code_report(hexed("59 02 FF 01 06"))
    assert read_code_report(hexed("59 02 FF 01 06"), "forgiving").assumed
    assert read_code_count(hexed("59 01 FF 01 00 02")) == 2
    assert fault_counters(hexed("59 14 01 06 17 40")) == {"P0106-17": 0x40}


def test_freeze_frames_of_a_newer_car() -> None:  # from memory of the same
    assert frame_of_code_request("P0106", 0x17) == hexed("19 04 01 06 17 FF")
    payload = hexed("59 04 01 06 17 2F 01 02 F4 0C 1A F8 F4 0B 65 02 01 F4 0B 66")
    found = read_frame_of_code(payload)
    assert found.code == CodeStatus("P0106", 0x17, 0x2F)
    assert [(number, items.parts) for number, items in found.records] == [
        (1, ((0x0C, hexed("1AF8")), (0x0B, b"\x65"))),
        (2, ((0x0B, b"\x66"),)),
    ]
    assert frame_of_code_answer(FrameOfCode(found.code, found.records)) == payload
    unknown = hexed("59 04 01 06 17 2F 01 02 F4 0C 1A F8 12 34 65")
    with pytest.raises(UnusableAnswer):
        read_frame_of_code(unknown)
    assert "could not be told apart" in read_frame_of_code(unknown, "forgiving").assumed[0]


def test_identifiers_of_a_newer_car() -> None:  # from memory of SAE J1979-2
    assert identifier_request([0x0C, 0x70]) == hexed("22 F4 0C F4 70")
    items = read_by_identifier(hexed("62 F4 0C 1A F8 F4 0B 65"))
    assert getattr(items, "parts", None) == ((0x0C, hexed("1AF8")), (0x0B, b"\x65"))
    assert identifier_answer([(0x0C, hexed("1AF8"))]) == hexed("62 F4 0C 1A F8")
    vin = b"1M8GDM9AXKP042788"
    for head in ("62 F1 90", "62 F8 02 01"):
        assert getattr(read_by_identifier(hexed(head) + vin), "texts", None) == (vin.decode(),)
    monitor = read_by_identifier(hexed("62 F6 01 01 0A 0E A6 0B B8 13 88"))
    assert [one.monitor for one in getattr(monitor, "results", ())] == [0x01]
    # Of F5xx no layout is remembered, but that it goes on from F4xx with bitmaps of the same form.
    further = read_by_identifier(hexed("62 F5 01 00 07 65 04"))
    assert further == Further(0x01, hexed("00 07 65 04"))
    assert getattr(read_by_identifier(hexed("62 F5 20 80 00 00 01")), "announced", None) == {0x21, 0x40}
    for other in ("62 F7 01 00", "62 12 34 00", "62 F5 01"):
        with pytest.raises(UnusableAnswer, match="62"):
            read_by_identifier(hexed(other))
    assert clear_request() == hexed("14 FF FF 33")
