"""Finding a car: bit rate and addresses, without disturbing the bus."""

from __future__ import annotations

import can
import pytest
from can.interfaces import BACKENDS
from invented_car import ADAPTER, SimulatedCar, mixed

from airproof.errors import MissingExtra, Unreachable, UnusableRequest
from airproof.vehicle.link.adapter import LOOPBACK_KINDS, Adapter, adapter_of, open_adapter
from airproof.vehicle.link.addresses import ELEVEN, TWENTY_NINE
from airproof.vehicle.link.clock import SystemClock
from airproof.vehicle.link.finding import find
from airproof.vehicle.stand_in.manners import Manners
from airproof.vehicle.stand_in.simulated_bus import SimulatedBus
from airproof.vehicle.stand_in.stand_in import StandIn

SETS_RATE = Adapter("slcan", "simulated")


class Plug:
    """A plug at which a car speaks at one bit rate; at another an adapter that takes part fails to send."""

    def __init__(self, at: SimulatedCar, rate: int, *, listens: bool = True, answers: bool = True) -> None:
        self.at, self.rate, self.listens, self.answers = at, rate, listens, answers
        self.opened: list[tuple[int | None, bool]] = []
        self.sent: list[tuple[int | None, bytes]] = []

    def __call__(self, adapter, rate, listen_only) -> can.BusABC:
        self.opened.append((rate, listen_only))
        if listen_only and not self.listens:
            return None
        right = rate in (None, self.rate)
        stand_in = self.at.stand_in if right and self.answers else StandIn([], Manners(source="t"), ELEVEN)
        bus = SimulatedBus(stand_in, self.at.clock, self.rate)
        inner = bus.send

        def send(msg, timeout=None):
            assert not listen_only, "nothing is sent while listening"
            self.sent.append((rate, bytes(msg.data)))
            if not right:
                raise can.CanOperationError("no acknowledgement")
            inner(msg)

        bus.send = send
        return bus


@pytest.mark.parametrize("addresses", [ELEVEN, TWENTY_NINE])
@pytest.mark.parametrize("newer", [False, True])
def test_every_kind_of_car_is_found(simulated, addresses, newer):
    at = simulated(addresses=addresses, newer=newer)
    found = at.found()
    assert found.addresses is addresses
    assert [unit.new_style for unit in found.units] == [newer] * 2
    assert found.rate is None


def test_a_unit_of_the_newer_kind_beside_older_ones_is_found(simulated):
    at = mixed(simulated)
    found = at.found()
    assert [(unit.name, unit.new_style) for unit in found.units] == [("7E8", False), ("7E9", True)]
    readout = at.readout()
    assert [unit.name for unit in readout.units] == ["ECM-EngineControl", "TCM-Gearbox"]
    assert readout.complete


@pytest.mark.parametrize("rate", [500_000, 250_000])
def test_a_bus_that_speaks_tells_its_rate_before_anything_is_sent(simulated, rate):
    at = simulated(Manners(source="t", chatter_per_s=300))
    plug = Plug(at, rate)
    found = find(SETS_RATE, at.clock, plug)
    assert found.rate == rate
    assert {sent_at for sent_at, _ in plug.sent} == {rate}
    assert "kbit/s" in found.remarks[0]


def test_a_silent_bus_is_asked_at_both_rates_the_usual_one_first(simulated):
    at = simulated()
    plug = Plug(at, 250_000)
    found = find(SETS_RATE, at.clock, plug)
    assert found.rate == 250_000
    assert [sent_at for sent_at, _ in plug.sent if sent_at == 500_000] == [500_000], (
        "one failed question at the wrong rate"
    )


def test_an_adapter_that_cannot_listen_says_so(simulated):
    at = simulated()
    found = find(SETS_RATE, at.clock, Plug(at, 500_000, listens=False))
    assert found.rate == 500_000
    assert "cannot listen" in found.remarks[0]


def test_a_known_rate_is_not_searched(simulated):
    at = simulated()
    plug = Plug(at, 250_000)
    assert find(Adapter("slcan", "x", 250_000), at.clock, plug).rate == 250_000
    assert plug.opened == [(250_000, False)]


def test_another_tester_at_the_plug_is_told(simulated):
    at = simulated()
    plug = Plug(at, 500_000)

    def opener(adapter, rate, listen_only):
        bus = plug(adapter, rate, listen_only)
        if listen_only and rate == 500_000:
            question = {"arbitration_id": 0x7DF, "is_extended_id": False, "data": b"\x02\x01\x0c" + bytes(5)}
            bus._coming += [can.Message(**question, timestamp=0.1 * n) for n in range(1, 5)]
        return bus

    assert any("other tester" in line for line in find(SETS_RATE, at.clock, opener).remarks)


def test_nothing_there_is_told_with_what_was_tried(simulated):
    at = simulated()
    with pytest.raises(Unreachable, match="500 and 250 kbit/s") as fault:
        find(SETS_RATE, at.clock, Plug(at, 125_000, answers=False))
    assert "key" in str(fault.value)
    assert at.clock.now() < 10.0


def test_adapters_are_named_by_kind_and_channel():
    adapter = adapter_of("slcan:/dev/ttyACM0", "250k", {"sleep_after_open": "0.5", "rtscts": "true", "a": "b"})
    assert (adapter.kind, adapter.channel, adapter.rate) == ("slcan", "/dev/ttyACM0", 250_000)
    assert adapter.options == {"sleep_after_open": 0.5, "rtscts": True, "a": "b"}
    for text in ("", "nothing-such", "../etc", "slcan,x"):
        with pytest.raises(UnusableRequest):
            adapter_of(text)
    with pytest.raises(UnusableRequest):
        adapter_of("slcan:x", "125000")


@pytest.mark.parametrize("adapter", [Adapter("slcan", "/dev/there-is-none"), Adapter("socketcan", "there-is-none")])
def test_an_adapter_that_is_not_there_is_told(adapter):
    with pytest.raises((Unreachable, MissingExtra)):
        open_adapter(adapter, 500_000, False)


@pytest.mark.parametrize("kind", sorted(set(BACKENDS) - set(LOOPBACK_KINDS)))
def test_whatever_a_driver_raises_where_it_is_not_installed_is_told(kind):
    with pytest.raises((MissingExtra, Unreachable)):
        open_adapter(Adapter(kind, "there-is-none"), 500_000, False)


def test_frames_between_programs_do_not_leave_this_computer(monkeypatch):
    seen = {}
    monkeypatch.setattr(can, "Bus", lambda **given: seen.update(given))
    open_adapter(Adapter("udp_multicast", None, options={"hop_limit": 5}), None, False)
    assert seen["hop_limit"] == 0


def test_the_system_clock_may_run_faster():
    clock = SystemClock(20.0)
    assert clock.real(1.0) == 0.05
    assert clock.arrived(0.0) == pytest.approx(clock.now(), abs=0.5)
    assert ADAPTER.name == "virtual:simulated"


@pytest.mark.parametrize(
    ("adapter", "found"),
    [
        (Adapter("udp_multicast"), True),
        (Adapter("socketcan", "vcan0"), True),
        (Adapter("socketcan", "can0"), False),
        (Adapter("virtual", "simulated"), False),
    ],
)
def test_a_stand_in_that_a_busy_computer_keeps_waiting_is_asked_again_and_a_car_is_not(simulated, adapter, found):
    at = simulated()
    begins = at.clock.now() + 1.6

    def opener(adapter, rate, listen_only):
        bus = SimulatedBus(at.stand_in, at.clock)
        send = bus.send
        bus.send = lambda msg, timeout=None: send(msg) if at.clock.now() >= begins else None
        return bus

    if found:
        assert len(find(adapter, at.clock, opener).units) == 2
    else:
        with pytest.raises(Unreachable):
            find(adapter, at.clock, opener)
