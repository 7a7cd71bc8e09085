"""Logs of a bus in every format, against what the invented frames say byte for byte."""

from __future__ import annotations

import gzip
import importlib.util
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented_log import VIN_FRAMES, live_data, message, told, write_log

from airproof.diagnosis.facts import FreezeFrame, StoredCode
from airproof.errors import MissingExtra, UnusableFile
from airproof.knowledge.load import knowledge
from airproof.vehicle.bus_log import formats
from airproof.vehicle.bus_log.formats import is_bus_log
from airproof.vehicle.bus_log.reading import BusLog, read_bus_log
from airproof.vehicle.recordings import read_recording, read_with_facts

SUFFIXES = [".log", ".asc", ".blf", ".trc", ".csv", ".log.gz", ".asc.gz"]
if importlib.util.find_spec("asammdf") is not None:
    SUFFIXES.append(".mf4")


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> BusLog:
    return read_bus_log(write_log(tmp_path_factory.mktemp("log") / "drive.log", [*live_data(), *told()]))


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_every_format_tells_the_same(tmp_path: Path, suffix: str, log: BusLog) -> None:
    path = write_log(tmp_path / f"drive{suffix}", [*live_data(), *told()])
    assert is_bus_log(path)
    found = read_bus_log(path)
    assert set(found.recording) == set(log.recording)
    for name, signal in log.recording.signals.items():
        assert np.array_equal(found.recording[name].values, signal.values)
        assert found.recording[name].time == pytest.approx(signal.time, abs=1.1e-3)  # TRC has milliseconds
    assert found.vin == log.vin
    assert found.facts(knowledge()) == log.facts(knowledge())


def test_the_name_of_a_log_does_not_matter(tmp_path: Path) -> None:
    path = write_log(tmp_path / "drive.blf", live_data(3))
    renamed = path.rename(tmp_path / "drive.txt")
    assert set(read_recording(renamed)) >= {"engine_speed", "manifold_pressure"}


def test_signals_are_those_of_the_bytes(log: BusLog) -> None:
    turns = np.arange(50)
    speed = log.recording["engine_speed"]
    assert np.array_equal(speed.values, (0x1A00 + turns) / 4)  # of the engine's unit, not of the gearbox
    assert np.array_equal(log.recording["manifold_pressure"].values, turns + 30.0)
    assert set(log.recording["air_flow"].values) == {4.20}
    assert set(log.recording["coolant_temperature"].values) == {83.0}
    assert speed.resolution == 0.25


def test_values_are_of_half_way_between_question_and_answer(log: BusLog) -> None:
    turns = np.arange(50)
    assert log.recording["engine_speed"].time == pytest.approx(0.2 * turns + 0.005, abs=1e-5)
    assert log.recording["manifold_pressure"].time == pytest.approx(0.2 * turns + 0.070, abs=1e-5)
    assert log.engine_unit is not None
    assert log.engine_unit.name == "7E8"
    assert log.engine_unit.delay_s == pytest.approx(0.020, abs=1e-5)  # the median of 10, 20 and 20 ms


def test_what_was_told_besides(log: BusLog) -> None:
    assert log.vin == "1M8GDM9AXKP042788"
    assert [unit.name for unit in log.units] == ["7E8", "7E9"]
    engine, gearbox = log.units
    assert engine.telling.codes == {"stored": ("P0106", "P0171"), "pending": ("P0299",)}
    assert gearbox.telling.codes == {"stored": ()}
    assert engine.announced == set(bytes.fromhex("01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 15 1C 1F 20"))
    assert list(engine.refusals) == [(0x09, "nothing there by that number")]
    (frame,) = engine.frames
    assert (frame.code, frame.values) == ("P0106", {"engine_speed": 800.0, "manifold_pressure": 52.0})


def test_facts_are_those_the_weighing_takes(log: BusLog) -> None:
    facts = log.facts(knowledge())
    assert set(facts.codes) == {
        StoredCode("P0106", "stored"),
        StoredCode("P0171", "stored"),
        StoredCode("P0299", "pending"),
    }
    assert facts.frames == (FreezeFrame("P0106", {"engine_speed": 800.0, "manifold_pressure": 52.0}),)
    assert facts.readiness is not None
    assert facts.readiness.codes_read
    assert facts.readiness.complete["evaporative-system"] is False
    assert facts.readiness.complete["misfire"] is True


def test_what_was_left_out_is_said(log: BusLog) -> None:
    remarks = " | ".join(log.recording.report.remarks)
    assert "50 frames of other traffic" in remarks
    assert "7E8 answers a median of 20.0 ms" in remarks
    assert "messages that could not be put together: 1, namely a length that does not fit its frame (1)" in remarks
    left_out = [one for one in log.recording.report.columns if one.how == "left out"]
    assert any(one.heading == "item 0C of 7E9" for one in left_out)


def test_29_bit_addresses(tmp_path: Path) -> None:
    lines = [
        (0.0, 0x18DB33F1, "02 01 0C"),
        (0.01, 0x18DAF110, "04 41 0C 1A F8"),
        (0.1, 0x18DA10F1, "02 01 0B"),
        (0.11, 0x18DAF110, "03 41 0B 65"),
        (0.2, 0x18DAF210, "03 41 0B 66"),  # to another tester's address
    ]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines, extended=True))
    assert [unit.name for unit in found.units] == ["18DAF110"]
    assert found.recording["engine_speed"].values == [1726.0]
    assert found.recording["manifold_pressure"].values == [101.0]


def test_answer_pending_moves_the_moment_to_the_answer(tmp_path: Path) -> None:
    lines = [(0.0, 0x7E0, "02 01 0C"), (0.02, 0x7E8, "03 7F 01 78"), (2.0, 0x7E8, "04 41 0C 1A F8")]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines))
    assert found.recording["engine_speed"].time == pytest.approx([2.0])
    assert not found.units[0].refusals


def test_two_testers_on_one_bus(tmp_path: Path) -> None:
    # The second asks before the first is answered: the answers are told apart by what they hold.
    lines = [
        (0.00, 0x7E0, "02 01 0C"),
        (0.01, 0x7E0, "02 01 0B"),
        (0.02, 0x7E8, "04 41 0C 1A F8"),
        (0.03, 0x7E8, "03 41 0B 65"),
    ]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines))
    assert found.recording["engine_speed"].values == [1726.0]
    assert found.recording["manifold_pressure"].values == [101.0]


def test_a_unit_that_resets_within_an_answer_costs_that_answer(tmp_path: Path) -> None:
    lines = [
        (0.0, 0x7DF, "02 09 02"),
        (0.01, 0x7E8, VIN_FRAMES[0]),
        (0.02, 0x7E8, VIN_FRAMES[1]),
        (3.0, 0x7DF, "02 01 0C"),
        (3.01, 0x7E8, "04 41 0C 1A F8"),
        (4.0, 0x7E8, VIN_FRAMES[2]),
    ]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines))
    assert found.vin is None
    assert found.recording["engine_speed"].values == [1726.0]
    assert any("broken off by another (1)" in remark for remark in found.recording.report.remarks)


def test_what_was_told_before_codes_were_cleared_counts(tmp_path: Path) -> None:
    lines = [
        *told(0.0),
        (10.0, 0x7DF, "01 04"),
        (10.1, 0x7E8, "01 44"),
        (11.0, 0x7DF, "01 03"),
        (11.1, 0x7E8, "02 43 00"),
    ]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines))
    engine = found.units[0]
    assert engine.telling.codes["stored"] == ("P0106", "P0171")
    assert engine.now.codes["stored"] == ()
    assert engine.cleared_s == [pytest.approx(1_700_000_010.1)]
    assert {code.id for code in found.facts(knowledge()).codes} == {"P0106", "P0171", "P0299"}


def test_a_newer_car(tmp_path: Path) -> None:  # from memory of SAE J1979-2
    lines = [
        (0.0, 0x7E0, "05 22 F4 0C F4 0B"),
        (0.02, 0x7E8, "10 08 62 F4 0C 1A F8 F4"),
        (0.03, 0x7E8, "21 0B 65"),
        (0.1, 0x7DF, "03 19 02 FF"),
        (0.12, 0x7E8, "07 59 02 FF 01 06 17 0D"),
        (0.2, 0x7DF, "03 22 F4 01"),
        (0.22, 0x7E8, "07 62 F4 01 81 07 65 04"),
    ]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines))
    assert found.recording["engine_speed"].values == [1726.0]
    assert found.recording["manifold_pressure"].values == [101.0]
    facts = found.facts(knowledge())
    assert facts.codes == (StoredCode("P0106", "present"),)
    assert facts.readiness is not None
    assert facts.readiness.codes_read


def test_a_status_that_was_not_asked_for_is_not_told_in_full(tmp_path: Path) -> None:
    # From memory of ISO 14229-1: mask 08 asks for confirmed codes, 04 for pending ones.
    lines = [
        (0.0, 0x7E0, "03 19 02 08"),
        (0.02, 0x7E8, "10 0B 59 02 FF 01 06 00"),
        (0.03, 0x7E8, "21 08 01 71 00 0C"),
        (0.1, 0x7E0, "03 19 02 04"),
        (0.12, 0x7E8, "07 59 02 FF 01 71 00 0C"),
    ]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines[:3]))
    told = found.units[0].telling
    assert told.codes == {"stored": ("P0106", "P0171"), "pending": ("P0171",)}
    found = read_bus_log(write_log(tmp_path / "both.log", lines))
    assert found.units[0].telling.codes == {"stored": ("P0106", "P0171"), "pending": ("P0171",)}
    assert found.units[0].new_style


def test_full_scales_of_the_car_are_used(tmp_path: Path) -> None:
    lines = [
        (0.0, 0x7E0, "02 01 0B"),
        (0.01, 0x7E8, "03 41 0B 80"),
        (1.0, 0x7E0, "02 01 4F"),
        (1.01, 0x7E8, "06 41 4F 00 00 00 28"),
    ]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines))
    pressure = found.recording["manifold_pressure"]  # from memory of SAE J1979: 200.78 kPa
    assert pressure.values == pytest.approx([200.78], abs=5e-3)
    assert pressure.resolution == pytest.approx(400 / 255)


def both_pressures(scale: int, fine_every: int = 1) -> Iterator[tuple[float, int, str]]:
    """Items 0B and 87 of one pressure; 87 in steps of 1/scale kPa, asked at every so many rounds."""
    for turn in range(30):
        pressure = 40 + turn
        yield 0.2 * turn, 0x7E0, "02 01 0B"
        yield 0.2 * turn + 0.01, 0x7E8, f"03 41 0B {pressure:02X}"
        if turn % fine_every == 0:
            yield 0.2 * turn + 0.05, 0x7E0, "02 01 87"
            yield 0.2 * turn + 0.06, 0x7E8, f"07 41 87 01 {pressure * scale:04X} 00 00"


def test_the_finer_item_speaks_where_both_agree(tmp_path: Path) -> None:
    found = read_bus_log(write_log(tmp_path / "drive.log", both_pressures(32)))
    assert found.recording["manifold_pressure"].resolution == 1 / 32


def test_an_item_from_memory_that_a_verified_one_contradicts_is_not_taken(tmp_path: Path) -> None:
    found = read_bus_log(write_log(tmp_path / "drive.log", both_pressures(64)))
    assert found.recording["manifold_pressure"].resolution == 1.0
    assert found.recording["manifold_pressure"].values[0] == 40.0
    assert any("the verified one was taken" in remark for remark in found.recording.report.remarks)


def test_an_item_hardly_asked_does_not_stand_in(tmp_path: Path) -> None:
    found = read_bus_log(write_log(tmp_path / "drive.log", both_pressures(32, fine_every=15)))
    assert len(found.recording["manifold_pressure"]) == 30


def test_a_pressure_at_the_end_of_its_item_is_said(tmp_path: Path) -> None:
    lines = [(0.0, 0x7E0, "02 01 0B"), (0.01, 0x7E8, "03 41 0B FF")]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines))
    assert any("stand at 255 kPa, the most it can tell" in remark for remark in found.recording.report.remarks)


def test_damaged_lines_cost_themselves_only(tmp_path: Path) -> None:
    path = write_log(tmp_path / "drive.log", live_data(5))
    lines = path.read_text(encoding="ascii").splitlines()
    lines[3] = lines[3][:20]
    lines.insert(5, "\x00\x01 no frame at all")
    lines.append("(1700000000.5) can0 7E8#0441")
    path.write_text("\n".join(lines), encoding="latin-1")
    found = read_bus_log(path)
    assert len(found.recording["engine_speed"]) == 5
    assert any(remark.startswith("2 lines are no frames") for remark in found.recording.report.remarks)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_log_cut_off_gives_what_came_before(tmp_path: Path, suffix: str) -> None:
    path = write_log(tmp_path / f"drive{suffix}", live_data(200))
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * 0.7)])
    if suffix == ".mf4":  # it cannot be read at all without its end
        with pytest.raises(UnusableFile, match="damaged"):
            read_bus_log(path)
        return
    found = read_bus_log(path)
    assert len(found.recording["engine_speed"]) > 100
    if suffix.endswith(".gz"):
        assert any("the log is damaged" in remark for remark in found.recording.report.remarks)


def test_what_is_no_log_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "drive.csv"
    path.write_text("time,engine_speed\n0,800\n1,810\n", encoding="utf-8")
    assert not is_bus_log(path)
    with pytest.raises(UnusableFile, match="no log of a bus"):
        read_bus_log(path)
    with pytest.raises(UnusableFile, match="cannot be read"):
        read_bus_log(tmp_path / "nowhere.log")
    assert not is_bus_log(tmp_path)


def test_a_log_without_diagnostics_says_what_it_holds(tmp_path: Path) -> None:
    path = write_log(tmp_path / "drive.log", [(0.1 * n, 0x123, "DE AD") for n in range(9)])
    with pytest.raises(UnusableFile, match="9 frames, none of them diagnostics"):
        read_bus_log(path)
    path = write_log(tmp_path / "silent.log", [(0.1 * n, 0x7DF, "02 01 0C") for n in range(9)])
    with pytest.raises(UnusableFile, match="9 questions were asked and none was answered"):
        read_bus_log(path)


def test_codes_without_live_data(tmp_path: Path) -> None:
    lines = [(0.0, 0x7DF, "01 03"), (0.01, 0x7E8, "04 43 01 01 06")]
    path = write_log(tmp_path / "codes.log", lines)
    recording, facts = read_with_facts(path, knowledge())
    assert recording is None
    assert facts.codes == (StoredCode("P0106", "stored"),)
    with pytest.raises(UnusableFile, match="no live data"):
        read_recording(path)


def test_gzip_of_something_else_is_no_log(tmp_path: Path) -> None:
    path = tmp_path / "drive.csv.gz"
    path.write_bytes(gzip.compress(b"time,engine_speed\n0,800\n1,810\n"))
    assert not is_bus_log(path)
    broken = tmp_path / "broken.log.gz"
    broken.write_bytes(b"\x1f\x8b\x08\x00 broken")
    assert not is_bus_log(broken)


def test_can_fd_and_long_identifiers_in_candump(tmp_path: Path) -> None:
    path = tmp_path / "drive.log"
    payload = "410C1AF80B650D32057B"
    path.write_text(
        f"(1.000000) can0 7DF#0501{'0C0B0D05'}\n(1.010000) can0 7E8##1000A{payload}\n(1.02) can0 7E8#R\n",
        encoding="ascii",
    )
    found = read_bus_log(path)
    assert found.recording["engine_speed"].values == [1726.0]
    assert found.recording["coolant_temperature"].values == [83.0]


def test_candump_as_it_stands_on_the_screen(tmp_path: Path, log: BusLog) -> None:
    path = tmp_path / "drive.txt"
    shown = [
        f" ({1_700_000_000 + at:.6f})  can0  {identifier:03X}   [{len(data.split())}]  {data}"
        for at, identifier, data in [*live_data(), *told()]
    ]
    path.write_text("\n".join(shown), encoding="ascii")
    found = read_bus_log(path)
    assert set(found.recording) == set(log.recording)
    assert found.recording["engine_speed"].time == pytest.approx(log.recording["engine_speed"].time, abs=1e-5)
    assert found.vin == log.vin


def test_differences_are_no_time_stamps(tmp_path: Path) -> None:
    lines = [(0.01 + 0.003 * (n % 7), identifier, data) for n, (_, identifier, data) in enumerate(live_data())]
    with pytest.raises(UnusableFile, match="time stamps go back"):
        read_bus_log(write_log(tmp_path / "drive.log", lines))


def test_swapped_neighbours_are_put_in_order(tmp_path: Path) -> None:
    lines = list(live_data(20))
    lines[16], lines[17] = lines[17], lines[16]
    found = read_bus_log(write_log(tmp_path / "drive.log", lines))
    assert (np.diff(found.recording["engine_speed"].time) >= 0.0).all()
    assert any("go back 1 times" in remark for remark in found.recording.report.remarks)


def test_diagnostics_that_a_gateway_repeats_on_another_bus_are_read_once(tmp_path: Path, log: BusLog) -> None:
    once = write_log(tmp_path / "once.log", [*live_data(), *told()]).read_text(encoding="ascii").splitlines()
    twice = [one for line in once for one in (line, line.replace("can0", "can1").replace(line.split()[1], "can1"))]
    path = tmp_path / "twice.log"
    path.write_text("\n".join(twice), encoding="ascii")
    found = read_bus_log(path)
    assert len(found.recording["engine_speed"]) == 50
    assert found.vin == log.vin
    assert any("several buses" in remark for remark in found.recording.report.remarks)


def test_mdf_without_asammdf_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "drive.mf4"
    path.write_bytes(b"MDF     " + bytes(100) + b"CAN_DataFrame")
    monkeypatch.setattr(formats, "find_spec", lambda _: None)
    with pytest.raises(MissingExtra, match="the mdf extra"):
        read_bus_log(path)


def test_mdf_with_channels_beside_its_frames_is_read_by_its_channels(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    stamps = np.arange(40) * 0.1
    channels = [
        asammdf.Signal(800.0 + stamps, stamps, unit="1/min", name="engine speed"),
        asammdf.Signal(np.zeros(40), stamps, name="CAN_DataFrame.Unlike"),
    ]
    path = tmp_path / "drive.mf4"
    with asammdf.MDF(version="4.10") as mdf:
        mdf.append(channels)
        mdf.save(path)
    assert is_bus_log(path)
    assert len(read_recording(path)["engine_speed"]) == 40


def test_the_door_takes_other_recordings_too(tmp_path: Path) -> None:
    path = tmp_path / "drive.csv"
    path.write_text("time (s),engine speed (rpm)\n" + "".join(f"{n},{800 + n}\n" for n in range(9)), encoding="utf-8")
    recording, facts = read_with_facts(path, knowledge())
    assert recording is not None
    assert len(recording["engine_speed"]) == 9
    assert not facts.anything
    assert message((0.0, 0x7DF, "01 03")).arbitration_id == 0x7DF


@pytest.mark.parametrize("suffix", [".log", ".asc", ".blf", ".trc", ".csv"])
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(changes=st.lists(st.tuples(st.integers(0, 20_000), st.binary(max_size=6), st.integers(0, 40)), max_size=6))
def test_a_damaged_log_is_read_or_refused(tmp_path: Path, suffix: str, changes: list[tuple[int, bytes, int]]) -> None:
    sound = tmp_path / f"sound{suffix}"
    if not sound.is_file():
        write_log(sound, [*live_data(4), *told()])
    data = bytearray(sound.read_bytes())
    for place, new, gone in changes:
        start = place % (len(data) + 1)
        data[start : start + gone] = new
    damaged = tmp_path / f"damaged{suffix}"
    damaged.write_bytes(data)
    with suppress(UnusableFile):
        assert read_bus_log(damaged).units


@pytest.mark.parametrize("suffix", [".log", ".asc.gz", ".blf"])
def test_the_share_read_is_told(tmp_path: Path, suffix: str) -> None:
    path = write_log(tmp_path / f"drive{suffix}", [line for _ in range(15) for line in live_data(200)])
    told_shares: list[float] = []
    with suppress(UnusableFile):  # the same drive again and again: its stamps go back now and then
        read_bus_log(path, told_shares.append)
    assert len(told_shares) > 2
    assert told_shares == sorted(told_shares)
    assert 0.0 <= told_shares[0] <= told_shares[-1] <= 1.0
