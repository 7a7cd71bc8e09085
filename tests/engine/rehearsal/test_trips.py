"""Pending, confirmed, permanent, lamp out: two-trip logic by the makers' texts named in trips.py."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from airproof.engine.rehearsal.control.monitors import CODES
from airproof.engine.rehearsal.control.trips import Store, Trip

LOOKED = frozenset(CODES)
FRAME = {"engine_speed": 750.0}


def bad(*codes: str) -> Trip:
    return Trip(dict.fromkeys(codes, FRAME), LOOKED, warmed_up=True)


def test_once_is_pending_and_twice_confirmed_with_the_lamp() -> None:
    # Mazda CX-9 2017 P0106: lamp on two consecutive drive cycles, pending on the first
    store = Store()
    store.end(bad("P0106"))
    assert (store.pending, store.confirmed, store.lamp) == ({"P0106"}, set(), False)
    assert store.frames == {"P0106": FRAME}
    store.end(bad("P0106"))
    assert (store.confirmed, store.permanent, store.lamp) == ({"P0106"}, {"P0106"}, True)


def test_a_good_drive_between_starts_anew() -> None:
    store = Store()
    for trip in (bad("P0106"), bad(), bad("P0106")):
        store.end(trip)
    assert (store.pending, store.confirmed) == ({"P0106"}, set())


def test_a_drive_in_which_it_could_not_look_decides_nothing() -> None:
    store = Store()
    for trip in (bad("P0299"), Trip({}, frozenset({"P0106"}), True), bad("P0299")):
        store.end(trip)
    assert store.confirmed == {"P0299"}


def test_the_lamp_goes_out_after_three_good_drives_and_the_code_after_forty_warm_ups() -> None:
    # Saab 9-5 OBD II description
    store = Store()
    for _ in range(2):
        store.end(bad("P0171"))
    lamps = []
    for _ in range(3):
        store.end(bad())
        lamps.append(store.lamp)
    assert lamps == [True, True, False]
    assert (store.confirmed, store.permanent) == ({"P0171"}, set())
    for _ in range(36):
        store.end(bad())
    assert store.confirmed == {"P0171"}
    store.end(bad())
    assert (store.confirmed, store.frames) == (set(), {})


def test_readiness_comes_with_looking() -> None:
    store = Store()
    store.end(Trip({}, frozenset({"P0300"}), False))
    assert store.readiness()["misfire"]
    assert not store.readiness()["fuel"]


@given(st.lists(st.sets(st.sampled_from(("P0106", "P0171", "P0299"))), max_size=60))
def test_whatever_happens_the_lists_agree(history: list[set[str]]) -> None:
    store = Store()
    for failed in history:
        store.end(bad(*failed))
        assert store.permanent <= store.confirmed
        assert store.lamp == bool(store.permanent)
        assert set(store.frames) >= store.pending | store.confirmed
        assert failed <= store.pending
