"""The stand-in served on a real bus between programs, here python-can's virtual one, in real time."""

from __future__ import annotations

import threading
from contextlib import closing

import can
import pytest
from invented_car import SimulatedCar

from airproof.errors import NotAllowed
from airproof.recording.readers import read_recording
from airproof.vehicle.link.adapter import Adapter
from airproof.vehicle.link.clock import SystemClock
from airproof.vehicle.link.finding import find
from airproof.vehicle.readout.read_out import read_out
from airproof.vehicle.recorder.plan import Speaker, plan_for
from airproof.vehicle.recorder.recorder import Recorder
from airproof.vehicle.stand_in.serving import serve


@pytest.fixture
def served(rehearsal, request):
    adapter, clock, stop = Adapter("virtual", request.node.name), SystemClock(), threading.Event()
    serving = threading.Thread(target=serve, args=(SimulatedCar(rehearsal).stand_in, adapter, clock, stop))
    serving.start()
    yield adapter, clock
    stop.set()
    serving.join(10)
    assert not serving.is_alive()


def test_it_is_found_read_and_recorded_in_real_time(served, tmp_path):
    adapter, clock = served
    found = find(adapter, clock)
    with closing(found.connect(clock)) as link:
        readout = read_out(link, found)
    assert "P0069" in readout.codes("stored")
    plan = plan_for([Speaker(unit.unit.id, False, unit.items) for unit in readout.units])
    recorder = Recorder(lambda: found.connect(clock), plan, tmp_path / "drive.csv", clock)
    last = list(recorder.run(every_s=0.5, for_s=2.0))[-1]
    recording = read_recording(tmp_path / "drive.csv")
    assert last.rows == recording.report.rows_read
    assert recording["engine_speed"].time[-1] > 1.0


def test_rubbish_on_the_bus_does_not_end_it(served):
    adapter, clock = served
    with can.Bus(interface="virtual", channel=adapter.channel) as bus:
        for n in range(200):
            bus.send(can.Message(arbitration_id=n * 7 % 0x800, is_extended_id=False, data=bytes([n % 256] * (n % 9))))
        bus.send(can.Message(arbitration_id=0x7DF, is_extended_id=False, is_remote_frame=True, dlc=8))
        bus.send(can.Message(arbitration_id=0x7DF, is_extended_id=False, is_error_frame=True))
    assert find(adapter, clock).units


@pytest.mark.parametrize(
    "adapter", [Adapter("socketcan", "can0"), Adapter("slcan", "/dev/ttyACM0"), Adapter("socketcan")]
)
def test_where_a_car_may_be_it_never_answers(rehearsal, adapter):
    with pytest.raises(NotAllowed):
        serve(SimulatedCar(rehearsal).stand_in, adapter, SystemClock(), threading.Event())
