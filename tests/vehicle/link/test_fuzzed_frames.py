"""Frames of any kind neither crash, hang nor fill the tester; a million of them: benchmarks/fuzz_link.py."""

from __future__ import annotations

import can
from hypothesis import given, settings
from hypothesis import strategies as st

from airproof.vehicle.items import items_table
from airproof.vehicle.link.addresses import ELEVEN, TWENTY_NINE
from airproof.vehicle.link.finding import Unit
from airproof.vehicle.link.guard import GuardedBus
from airproof.vehicle.link.questions import Link
from airproof.vehicle.readout import newer, older
from airproof.vehicle.readout.asking import Asking
from airproof.vehicle.readout.readout import UnitReadout
from airproof.vehicle.recorder.plan import Speaker, plan_for
from airproof.vehicle.recorder.recorder import Recorder
from airproof.vehicle.stand_in.manners import Manners
from airproof.vehicle.stand_in.simulated_bus import SimulatedBus, SimulatedClock
from airproof.vehicle.stand_in.stand_in import StandIn

ANSWERS = [0x41, 0x42, 0x43, 0x46, 0x49, 0x59, 0x62, 0x7F]
data = st.one_of(
    st.binary(max_size=8),
    st.builds(lambda head, rest: bytes([head]) + rest, st.sampled_from([3, 7, 0x10, 0x1F, 0x21, 0x22, 0x30]),
              st.binary(max_size=7)),
    st.builds(lambda service, rest: bytes([6, service]) + rest, st.sampled_from(ANSWERS), st.binary(max_size=6)),
    st.builds(lambda size, service, rest: bytes([0x10 | size >> 8, size & 0xFF, service]) + rest, st.integers(0, 4095),
              st.sampled_from(ANSWERS), st.binary(min_size=5, max_size=5)),
)  # fmt: skip
replies = st.lists(st.lists(data, max_size=6), max_size=12)


class Babbling:
    """Answers each frame sent with the next frames of a script."""

    def __init__(self, script, clock, addresses):
        self.bus = SimulatedBus(StandIn([], Manners(source="t"), addresses), clock)
        self.script, self.clock = list(script), clock
        self.identifier, self.extended = (0x18DAF110, True) if addresses.extended else (0x7E8, False)

    def send(self, msg, timeout=None):
        assert msg.data[0] >> 4 == 3 or msg.data[1] in (1, 2, 3, 6, 7, 9, 0x0A, 0x19, 0x22)
        self.bus.send(msg)
        for n, payload in enumerate(self.script.pop(0) if self.script else []):
            self.bus._coming.append(
                can.Message(
                    arbitration_id=self.identifier, is_extended_id=self.extended, data=payload,
                    timestamp=self.clock.now() + 0.0005 * (n + 1),
                )
            )  # fmt: skip

    def recv(self, timeout=None):
        return self.bus.recv(timeout)


@settings(max_examples=150, deadline=None)
@given(replies, st.booleans(), st.booleans())
def test_whatever_a_unit_babbles_reading_it_out_ends(script, wide, new_style):
    clock, addresses = SimulatedClock(), TWENTY_NINE if wide else ELEVEN
    link = Link(GuardedBus(Babbling(script, clock, addresses), clock), addresses, clock)
    unit = Unit(0x18DAF110 if wide else 0x7E8, "engine", new_style)
    into = UnitReadout(unit)
    (newer if new_style else older).read_unit(Asking(link, unit, into), into)
    assert clock.now() < 300.0


@settings(max_examples=60, deadline=None)
@given(replies)
def test_whatever_a_unit_babbles_a_recording_goes_on_and_holds_what_can_be(tmp_path_factory, script):
    clock = SimulatedClock()
    link = Link(GuardedBus(Babbling(script * 20, clock, ELEVEN), clock), ELEVEN, clock)
    plan = plan_for([Speaker(0x7E8, False, tuple(items_table()))])
    path = tmp_path_factory.mktemp("babbled") / "drive.csv"
    last = list(Recorder(lambda: link, plan, path, clock).run(every_s=0.5, for_s=3.0))[-1]
    assert last.state == "stopped"
    assert clock.now() < 60.0
    lines = path.read_text().splitlines()
    assert len(lines) == last.rows + 1
    assert all(len(line.split(",")) == len(plan.signals) + 1 for line in lines)
    assert not [line for line in lines[1:] if "nan" in line or "inf" in line]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([0x7DF, 0x7E0, 0x7E1, 0x7E8, 0x123]), data), max_size=30))
def test_whatever_testers_send_the_stand_in_goes_on(simulated_stand_in, frames):
    stand_in = simulated_stand_in
    for n, (identifier, payload) in enumerate(frames):
        now = 0.01 * n
        stand_in.take(can.Message(arbitration_id=identifier, is_extended_id=False, data=payload, timestamp=now), now)
        stand_in.due(now)
    stand_in.due(100.0)
    now = 200.0
    stand_in.take(can.Message(arbitration_id=0x7E0, is_extended_id=False, data=b"\x02\x01\x0c\0\0\0\0\0"), now)
    answers = [frame for at in (200.1, 200.2) for frame in stand_in.due(at) if frame.arbitration_id == 0x7E8]
    assert answers[-1].data[1:3] == b"\x41\x0c"
