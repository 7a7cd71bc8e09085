"""Clearing: saved first, asked for twice, engine off, once."""

from __future__ import annotations

import pytest
from invented_car import mixed

from airproof.errors import NotAllowed, Unreachable
from airproof.report.readout_in_words import cleared_in_words
from airproof.vehicle.link.addresses import TWENTY_NINE
from airproof.vehicle.link.clearing import HOLDS_S, Clearing, ClearPermit
from airproof.vehicle.readout.read_out import read_again, read_out
from airproof.vehicle.stand_in.manners import Manners


@pytest.fixture
def saved(tmp_path):
    path = tmp_path / "before.json"
    path.write_text("{}")
    return path


def ready(at, saved, *, confirmed=2) -> Clearing:
    found = at.found()
    clearing = Clearing(at.link(found), found)
    clearing.saved(saved)
    for _ in range(confirmed):
        clearing.confirm()
    return clearing


def sent_by(at) -> list[bytes]:
    out: list[bytes] = []
    take = at.stand_in.take
    at.stand_in.take = lambda message, now: (out.append(bytes(message.data)), take(message, now))[1]
    return out


@pytest.mark.parametrize(("newer", "addresses"), [(False, TWENTY_NINE), (True, TWENTY_NINE)])
def test_after_all_steps_codes_are_cleared(simulated, saved, newer, addresses):
    at = simulated(newer=newer, addresses=addresses)
    cleared = ready(at, saved).carry_out()
    assert cleared.all_of_them
    assert len(cleared.units) == 2
    after = at.readout()
    assert after.codes("stored") == after.codes("pending") == ()
    assert after.codes("permanent"), "permanent codes stay"


def test_older_and_newer_units_of_one_car_are_cleared_each_in_its_way(simulated, saved):
    at = mixed(simulated)
    clearing = ready(at, saved)
    out = sent_by(at)
    cleared = clearing.carry_out()
    assert cleared.units == {"7E8": True, "7E9": True}
    clears = [data[1 : 1 + data[0]] for data in out if data[1] in (0x04, 0x14)]
    assert clears == [b"\x04", b"\x14\xff\xff\x33"]  # each with a permit of its own


@pytest.mark.parametrize("confirmed", [0, 1])
def test_once_asked_is_not_enough(simulated, saved, confirmed):
    at = simulated()
    clearing = ready(at, saved, confirmed=confirmed)
    out = sent_by(at)
    with pytest.raises(NotAllowed):
        clearing.carry_out()
    assert out == []


def test_nothing_is_confirmed_before_all_is_saved(simulated, tmp_path):
    at = simulated()
    found = at.found()
    clearing = Clearing(at.link(found), found)
    with pytest.raises(NotAllowed):
        clearing.confirm()
    with pytest.raises(NotAllowed):
        clearing.saved(tmp_path / "nothing.json")
    (tmp_path / "empty.json").touch()
    with pytest.raises(NotAllowed):
        clearing.saved(tmp_path / "empty.json")
    with pytest.raises(NotAllowed):
        clearing.carry_out()


def test_a_running_engine_refuses_before_anything_is_sent(simulated, saved):
    at = simulated()
    clearing = ready(at, saved)
    at.clock.sleep(60.0)
    out = sent_by(at)
    with pytest.raises(NotAllowed, match="engine turns at"):
        clearing.carry_out()
    assert {data[1] for data in out} == {0x01}
    assert at.readout().codes("stored")


def test_an_unknown_engine_speed_refuses(simulated, saved):
    at = simulated()
    clearing = ready(at, saved)
    at.stand_in.manners = Manners(source="t", silent_share=1.0)
    out = sent_by(at)
    with pytest.raises(NotAllowed, match="no unit tells"):
        clearing.carry_out()
    assert {data[1] for data in out} == {0x01}


def test_each_clearing_needs_all_its_steps_again(simulated, saved):
    at = simulated()
    clearing = ready(at, saved)
    clearing.carry_out()
    with pytest.raises(NotAllowed):
        clearing.carry_out()


def test_permits_are_made_by_clearing_alone_and_go_stale(simulated, saved, monkeypatch):
    at = simulated()
    with pytest.raises(NotAllowed):
        ClearPermit(object(), at.clock)
    clearing = ready(at, saved)
    permits = []
    clear = clearing._link.clear
    monkeypatch.setattr(
        clearing._link, "clear", lambda payload, permit: (permits.append(permit), clear(payload, permit))[1]
    )
    clearing.carry_out()
    with pytest.raises(NotAllowed):
        permits[0].use()

    stale = ready(at, saved)
    slow = stale._link.clear
    monkeypatch.setattr(
        stale._link, "clear", lambda payload, permit: (at.clock.sleep(HOLDS_S + 0.1), slow(payload, permit))[1]
    )
    out = sent_by(at)
    with pytest.raises(NotAllowed, match="stale"):
        stale.carry_out()
    assert b"\x01\x04" not in {data[:2] for data in out}


def test_a_refusal_of_the_car_is_told(simulated, saved):
    at = simulated()
    clearing = ready(at, saved)
    object.__setattr__(at.stand_in._units[0x7E8].contents, "clear", lambda now: False)
    cleared = clearing.carry_out()
    assert not cleared.all_of_them
    assert isinstance(cleared.units["7E8"], str)
    assert cleared.units["7E9"] is True


@pytest.mark.parametrize("newer", [False, True])
def test_unplugging_as_it_clears_leaves_it_open_and_says_so(simulated, saved, newer):
    at = simulated(newer=newer)
    clearing = ready(at, saved)
    take = at.stand_in.take

    def pulled(message, now):
        if bytes(message.data)[1] in (0x04, 0x14):
            at.pull_out()
        return take(message, now)

    at.stand_in.take = pulled
    with pytest.raises(Unreachable, match="whether they were is not known"):
        clearing.carry_out()


def test_unplugging_after_it_has_cleared_still_tells_that_it_did(simulated, saved):
    at = simulated()
    found = at.found()
    clearing = ready(at, saved)
    cleared = clearing.carry_out()
    link = at.link(found)
    at.pull_out()
    after = read_again(link, found)
    said = " ".join(line for part in cleared_in_words(cleared, after) for line in part.lines)
    assert "7E8: cleared" in said
    assert "could not be read again" in said
    assert "no code is there now" not in said


def test_reading_everything_sends_nothing_that_clears(simulated):
    at = simulated()
    found = at.found()
    out = sent_by(at)
    read_out(at.link(found), found)
    assert {data[1] for data in out if data[0] >> 4 == 0} <= {0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A}
