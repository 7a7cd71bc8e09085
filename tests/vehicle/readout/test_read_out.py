"""Everything a car holds is read, the same by older and by newer services, and becomes facts."""

from __future__ import annotations

import json
import tomllib

import can
import pytest

from airproof.diagnosis.facts_file import load_facts
from airproof.errors import Unreachable
from airproof.jobs.facts_written import toml
from airproof.knowledge.load import knowledge
from airproof.report.readout_as_json import readout_as_json
from airproof.report.readout_in_words import readout_in_words
from airproof.vehicle.link.addresses import TWENTY_NINE
from airproof.vehicle.readout.as_facts import facts_tables
from airproof.vehicle.readout.from_log import readout_of_log
from airproof.vehicle.readout.read_out import read_out


@pytest.mark.parametrize("newer", [False, True])
def test_what_is_read_is_what_the_rehearsal_stored(simulated, rehearsal, newer):
    readout = simulated(newer=newer, addresses=TWENTY_NINE).readout()
    codes = rehearsal.codes
    assert set(readout.codes("stored")) == codes.confirmed
    assert set(readout.codes("pending")) == codes.pending
    assert set(readout.codes("permanent")) == codes.permanent
    assert readout.complete
    engine, gearbox = readout.units
    assert engine.readiness.lamp == codes.lamp
    assert engine.calibration_ids == ("INVENTED-ENGINE1",)
    assert gearbox.name == "TCM-Gearbox"
    assert len(engine.results) == 4
    assert {frame.code for frame in engine.frames} == (set(codes.frames) if newer else {next(iter(codes.frames))})
    for frame in engine.frames:
        seen = codes.frames[frame.code]
        assert frame.signals["manifold_pressure"] == pytest.approx(seen["manifold_pressure"], abs=0.5)
        assert frame.signals["engine_speed"] == pytest.approx(seen["engine_speed"], abs=0.125)
        assert frame.signals["barometric_pressure"] == pytest.approx(seen["barometric_pressure"], abs=0.5)


@pytest.mark.parametrize("newer", [False, True])
def test_a_readout_is_facts_that_the_verdict_takes(simulated, rehearsal, newer, tmp_path):
    tables, _ = facts_tables(simulated(newer=newer).readout(), knowledge())
    path = tmp_path / "car.toml"
    path.write_text(toml(tables))
    facts = load_facts([path], knowledge())
    assert {code.id for code in facts.codes} == rehearsal.codes.confirmed | rehearsal.codes.pending
    assert all(code.status == "stored" for code in facts.codes if code.id in rehearsal.codes.confirmed)
    assert facts.readiness.codes_read
    assert facts.readiness.complete["evaporative-system"] is False
    assert facts.frames
    assert tomllib.loads(path.read_text())["freeze_frame"][0]["manifold_pressure"].endswith(" kPa")


def test_words_and_json_hold_codes_frames_and_readiness(simulated):
    readout = simulated().readout()
    said = readout_in_words(readout, knowledge())
    parts = {part.id: part for part in said}
    assert "P0069, stored and pending and permanent" in parts["codes"].lines[1]
    assert any("evaporative-system" in line for part in said if part.id == "readiness" for line in part.lines)
    held = json.loads(readout_as_json(readout))
    assert held["schema"] == "airproof.readout/1"
    assert held["units"][0]["codes"]["stored"] == sorted(readout.codes("stored"))
    assert held["units"][0]["freeze_frames"][0]["items"]


class Bent:
    """The engine's unit, answering otherwise."""

    def __init__(self, answer):
        self.id, self.answer = 0x7E8, answer


def held_by(unit):
    """What a unit told, apart from remarks."""
    return {
        "codes": (unit.stored, unit.pending),
        "frames": [(frame.code, sorted(frame.items)) for frame in unit.frames],
        "results": len(unit.results),
        "of itself": (unit.vin, unit.name, unit.calibration_ids, unit.calibration_numbers, len(unit.ratios)),
        "items": unit.items,
        "counted": sorted(unit.since_cleared),
        "readiness": unit.readiness is not None,
    }


@pytest.mark.parametrize("newer", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_on_the_rudest_bus_nothing_is_missing_without_a_word(simulated, newer, seed):
    whole = {unit.unit.id: held_by(unit) for unit in simulated(newer=newer).readout().units}
    told = simulated("rude", newer=newer, seed=seed).readout()
    assert [unit.unit.id for unit in told.units] == list(whole)
    for unit in told.units:
        assert unit.remarks or held_by(unit) == whole[unit.unit.id]


@pytest.mark.parametrize("newer", [False, True])
def test_what_a_unit_announces_and_does_not_answer_is_told(simulated, newer):
    at = simulated(newer=newer, gearbox=False)
    answer = at.stand_in._units[0x7E8].answer
    silent = (b"\x22\xf8\x06", b"\x09\x06")
    at.stand_in._units[0x7E8] = Bent(lambda q, *a, **k: None if q in silent else answer(q, *a, **k))
    (told,) = at.readout().units
    assert told.calibration_numbers == ()
    assert told.remarks == ["7E8 did not answer for calibration verification numbers: read it again"]
    assert told.vin


def test_identifiers_whose_layout_is_not_known_are_kept_as_they_came(simulated):
    at = simulated(newer=True, gearbox=False)
    answer = at.stand_in._units[0x7E8].answer
    further = {
        b"\x22\xf5\x00": bytes.fromhex("62 F5 00 80 00 00 00"),  # a bitmap that announces F501
        b"\x22\xf5\x01": bytes.fromhex("62 F5 01 00 07 65 04 11"),
    }
    at.stand_in._units[0x7E8] = Bent(lambda q, *a, **k: further.get(q) or answer(q, *a, **k))
    (told,) = (readout := at.readout()).units
    assert told.further == {0x01: bytes.fromhex("00 07 65 04 11")}
    assert json.loads(readout_as_json(readout))["units"][0]["further_identifiers"] == {"F501": "0007650411"}


@pytest.mark.parametrize("after", [0, 1, 5, 20, 35, 60])
def test_unplugging_while_reading_is_told(simulated, after):
    at = simulated()
    found = at.found()
    take = at.stand_in.take
    taken = []

    def counted(message, now):
        taken.append(message)
        if len(taken) > after:
            at.pull_out()
        return take(message, now)

    at.stand_in.take = counted
    link = at.link(found)
    with pytest.raises(Unreachable):
        read_out(link, found)


def test_a_log_of_our_own_reading_holds_the_same(simulated, tmp_path):
    """What went over the bus, written down as a log, is read by the reader of logs to the same codes."""
    at = simulated()
    path = tmp_path / "reading.log"
    found = at.found()
    link = at.link(found)
    bus = at.buses[-1]
    with can.CanutilsLogWriter(path) as log:
        send, recv = bus.send, bus.recv

        def sending(msg, timeout=None):
            msg.timestamp = at.clock.now()
            log.on_message_received(msg)
            return send(msg)

        def receiving(timeout=None):
            message = recv(timeout)
            if message is not None:
                log.on_message_received(message)
            return message

        bus.send, bus.recv = sending, receiving
        read = read_out(link, found)
    logged = readout_of_log(path)
    for which in ("stored", "pending", "permanent"):
        assert logged.codes(which) == read.codes(which)
    assert logged.vin == read.vin
    assert logged.units[0].frames[0].signals == read.units[0].frames[0].signals
