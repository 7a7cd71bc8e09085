"""What the car says after a repair: no code is not the same as not yet looked.

Rules of codes: two drives confirm, three clean ones put the lamp out, forty clean warm-ups erase (Mazda CX-9 2017 and
Saab 9-5 service texts); a warm-up is a rise of the coolant by 22 K to 70 degC (the UN's draft on on-board diagnosis of
2019); 13 CCR 1968.2 (d)(2.5) on permanent codes, from memory.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE
from airproof.repair.proof.after import LOOKED, Said, codes_after, evidence_after, had_its_look
from airproof.repair.proof.monitors import monitor_rules
from airproof.repair.proof.stretches import drive

KNOWN = knowledge()
BEFORE = {"P0171": "stored"}
CLEARED = Said(codes_read=True, cleared=True)


def standing(said: Said, code: str = "P0171") -> str:
    told = codes_after(said, BEFORE, "vacuum-leak", KNOWN)
    assert told is not None
    return next(one.standing for one in told.codes if one.id == code)


def test_rules_are_those_of_the_sources() -> None:
    rules = monitor_rules().rules
    assert (rules.drives_to_confirm, rules.drives_for_lamp_out, rules.warm_ups_to_erase) == (2, 3, 40)
    assert (rules.warm_up_rise_k, rules.warm_up_reaches_c) == (22, 70)
    permanent = monitor_rules().permanent
    assert (permanent.drive_s, permanent.above_40_km_h_s, permanent.idle_s) == (600, 300, 30)


def test_nobody_asked_the_car() -> None:
    assert codes_after(Said(), BEFORE, "vacuum-leak", KNOWN) is None
    assert standing(Said(cleared=True)) == "not read"


def test_no_code_right_after_clearing_says_nothing() -> None:
    assert standing(CLEARED) == "not yet looked"
    assert standing(replace(CLEARED, warm_ups=0)) == "not yet looked"
    assert standing(replace(CLEARED, warm_ups=0, monitors={"fuel-system": False})) == "not yet looked"
    assert not evidence_after(CLEARED, BEFORE, KNOWN).readiness.complete["fuel-system"]  # type: ignore[union-attr]


def test_no_code_after_some_drives_says_that_it_is_gone() -> None:
    assert standing(replace(CLEARED, warm_ups=3)) == "gone"
    assert standing(replace(CLEARED, monitors={"fuel-system": True})) == "gone"


def test_a_continuous_monitor_that_is_complete_from_the_start_has_not_looked() -> None:
    """Most cars tell fuel system and misfire to be complete whatever has been driven."""
    assert standing(replace(CLEARED, warm_ups=0, monitors={"fuel-system": True})) == "not yet looked"


def test_warm_ups_in_the_yard_are_no_drives() -> None:
    assert had_its_look("fuel-system", replace(CLEARED, warm_ups=4), KNOWN) >= LOOKED
    assert had_its_look("fuel-system", replace(CLEARED, warm_ups=4, distance_km=1.0), KNOWN) < LOOKED


def test_what_came_back_pending_first() -> None:
    back = replace(CLEARED, codes={"P0171": "pending"})
    assert standing(back) == "came back"
    told = codes_after(back, BEFORE, "vacuum-leak", KNOWN)
    assert told is not None
    assert "one drive has seen it" in told.says[0]
    assert "confirm" in told.says[0]
    assert standing(replace(CLEARED, codes={"P0171": "stored"})) == "came back"
    assert standing(replace(CLEARED, codes={"P0299": "stored"}), "P0299") == "new"


def test_a_permanent_code_is_no_return() -> None:
    kept = replace(CLEARED, codes={"P0171": "permanent"}, warm_ups=2)
    assert standing(kept) == "permanent"
    assert evidence_after(kept, BEFORE, KNOWN).codes == ()


def test_a_code_that_nobody_cleared_is_the_old_one() -> None:
    old = Said(codes_read=True, cleared=False, codes={"P0171": "stored"})
    assert standing(old) == "not yet looked"
    assert evidence_after(old, BEFORE, KNOWN).codes == ()


def test_incomplete_monitors_say_what_they_wait_for() -> None:
    said = replace(CLEARED, monitors={"catalyst": False, "fuel-system": False, "misfire": True})
    told = codes_after(said, BEFORE, "vacuum-leak", KNOWN)
    assert told is not None
    waiting = {one.id: one.needs for one in told.monitors}
    assert waiting["catalyst"]
    assert waiting["misfire"] == ()
    assert any("fuel system" in line for line in told.says)


@pytest.mark.parametrize("cause", [c for c in KNOWN.causes if c != NONE])
def test_every_cause_has_its_needs_and_a_name(cause: str) -> None:
    needs = drive().causes[cause]
    assert needs.needs
    assert needs.called.startswith("the ")


def test_every_monitor_has_its_conditions() -> None:
    assert set(monitor_rules().monitors) == set(KNOWN.monitors)
    for waits in monitor_rules().monitors.values():
        assert set(waits.drives) <= set(drive().stretches)
    assert set(drive().causes) == set(KNOWN.causes) - {NONE}


def test_a_code_may_be_an_old_one_where_nobody_told_those_of_before() -> None:
    told = Said({"P0171": "stored"}, codes_read=True)
    (one,) = codes_after(told, {}, None, KNOWN).codes
    assert one.standing == "new"
    assert one.says == "P0171 is there (stored), and nobody told the codes of before the repair: it may be an old one"
    (new,) = (c for c in codes_after(told, {"P0106": "stored"}, None, KNOWN).codes if c.id == "P0171")
    assert "is new" in new.says
    (cleared,) = codes_after(replace(told, cleared=True), {}, None, KNOWN).codes
    assert "is new" in cleared.says
