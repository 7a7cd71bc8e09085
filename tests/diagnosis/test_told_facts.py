"""How facts of every kind are heard: status, order, absence, looks beside their steps, frames beside their codes."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import TURBO

from airproof.diagnosis.facts import Facts, FreezeFrame, Noted, Readiness, StoredCode
from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.told import told_of
from airproof.diagnosis.verdict import Verdict
from airproof.diagnosis.weigh import weigh
from airproof.knowledge.load import knowledge

KNOWN = knowledge()
SIZES = {name: np.full(1, one.size.typical if one.size else 0.0) for name, one in KNOWN.causes.items()}
PLACE = {cause: k for k, cause in enumerate(SIZES)}


def verdict(facts: Facts) -> Verdict:
    return weigh([], TURBO, facts=facts).verdict


def ids(facts: Facts) -> set[str]:
    return {one.id for one in told_of(facts, KNOWN, SIZES)}


def chance(facts: Facts, name: str, cause: str, shown: dict[str, float] | None = None) -> float:
    (told,) = [one for one in told_of(facts, KNOWN, SIZES, shown) if one.id == name]
    return float(told.links[0].chance(np.array([PLACE[cause]]))[0])


def ratio(facts: Facts, name: str, cause: str, shown: dict[str, float] | None = None) -> float:
    return chance(facts, name, cause, shown) / chance(facts, name, "none", shown)


def test_a_pending_code_says_less_than_a_stored_one_and_that_less_than_a_permanent_one() -> None:
    weights = [
        ratio(Facts((StoredCode("P0106", status),)), "code P0106", "map-offset")
        for status in ("pending", "stored", "permanent")
    ]
    assert weights == sorted(weights)
    assert 3.0 < weights[0] < 0.5 * weights[1]


def test_a_code_that_is_present_now_speaks_less_for_what_comes_and_goes() -> None:
    now, some_time = Facts((StoredCode("P0107", "present"),)), Facts((StoredCode("P0107"),))
    assert ratio(now, "code P0107", "map-circuit") == pytest.approx(ratio(some_time, "code P0107", "map-circuit"))
    assert ratio(now, "code P0107", "map-intermittent") < 0.3 * ratio(some_time, "code P0107", "map-intermittent")


def test_a_code_that_came_later_may_have_followed() -> None:
    both = (StoredCode("P0106", order=1), StoredCode("P0171", order=2))
    first, later = Facts(both), Facts(tuple(StoredCode(one.id, order=3 - (one.order or 0)) for one in both))
    assert ratio(first, "code P0171", "vacuum-leak") < 0.5 * ratio(later, "code P0171", "vacuum-leak")
    assert ratio(later, "code P0171", "vacuum-leak") == pytest.approx(
        ratio(Facts((StoredCode("P0171"),)), "code P0171", "vacuum-leak")
    )


def test_the_code_with_the_only_freeze_frame_is_the_first_unless_its_frame_displaces_others() -> None:
    codes = (StoredCode("P0106"), StoredCode("P0300"))
    told = Facts(codes, frames=(FreezeFrame("P0106", {"engine_speed": 800.0}),))
    assert ratio(told, "code P0300", "ignition") < ratio(Facts(codes), "code P0300", "ignition")
    # a misfire's frame takes the place of any other: it shows nothing about which came first
    told = Facts(codes, frames=(FreezeFrame("P0300", {"engine_speed": 800.0}),))
    assert ratio(told, "code P0106", "map-offset") == pytest.approx(ratio(Facts(codes), "code P0106", "map-offset"))


def test_absent_codes_speak_only_where_codes_were_read_and_the_monitor_is_complete() -> None:
    codes = (StoredCode("P0171"),)
    bare = Facts(codes)
    not_read = Facts(codes, readiness=Readiness({"components": True}))
    not_run = Facts(codes, readiness=Readiness({"components": False}, codes_read=True))
    looked = Facts(codes, readiness=Readiness({"components": True}, codes_read=True))
    assert ids(bare) == ids(not_read) == ids(not_run)
    assert "no code manifold-pressure" in ids(looked)
    assert "no code lean" not in ids(looked)  # the fuel system's monitor has not told
    before, after = verdict(not_run), verdict(looked)
    for cause in ("map-circuit", "supply-reference"):  # what would have set a code of the pressures or the supply
        odds = [one.probability(cause) / one.probability("none") for one in (before, after)]
        assert odds[1] < 0.9 * odds[0]


def test_of_a_family_with_one_code_stored_the_others_are_told_as_others() -> None:
    facts = Facts((StoredCode("P0106"),), readiness=Readiness({"components": True}, codes_read=True))
    (told,) = [one for one in told_of(facts, KNOWN, SIZES) if one.id == "no code manifold-pressure"]
    assert "no other code" in told.says
    assert len(told.links) == sum(code.family == "manifold-pressure" for code in KNOWN.codes.values()) - 1


LOOSE, STEP = "plug-loose", "look-plug-and-wiring"


def test_a_look_and_the_step_it_is_a_detail_of_are_not_counted_twice() -> None:
    seen, not_seen = Noted("look", LOOSE), Noted("look", LOOSE, found=False)
    found, nothing = Outcome(STEP, True), Outcome(STEP, False)
    assert ids(Facts(noted=(seen,), readings=(found,))) == {f"look {LOOSE}"}
    assert ids(Facts(noted=(not_seen,), readings=(nothing,))) == {f"step {STEP}"}
    assert ids(Facts(noted=(seen,), readings=(nothing,))) == {f"look {LOOSE}"}
    # something was found, only not this: both say what the other does not
    assert ids(Facts(noted=(not_seen,), readings=(found,))) == {f"look {LOOSE}", f"step {STEP}"}
    alone = verdict(Facts(noted=(seen,)))
    with_step = verdict(Facts(noted=(seen,), readings=(found,)))
    for one in alone.causes:
        assert with_step.probability(one.id) == pytest.approx(one.probability, abs=1e-12)


def test_a_look_is_never_likelier_than_the_step_it_is_a_detail_of() -> None:
    for look in KNOWN.looks.values():
        if look.step is None:
            continue
        for cause in KNOWN.causes:
            assert look.given(cause) <= KNOWN.steps[look.step].positive_given(cause) + 1e-12, (look.id, cause)


def test_what_is_noticed_of_one_thing_is_hardly_more_than_one_witness() -> None:
    """A hiss that the driver tells of and one that is heard in the workshop."""
    whistle, hiss = Noted("symptom", "whistle"), Noted("look", "hissing")
    both, one = verdict(Facts(noted=(whistle, hiss))), verdict(Facts(noted=(whistle,)))
    by_chance = KNOWN.symptoms["whistle"], KNOWN.looks["hissing"]
    odds = lambda v: v.probability("vacuum-leak") / v.probability("none")  # noqa: E731
    more = odds(both) / odds(one)
    independent = by_chance[1].given("vacuum-leak") / by_chance[1].by_chance
    assert 1.0 <= more < 0.5 * independent


def test_what_was_asked_after_and_is_not_so_counts_the_other_way() -> None:
    so, not_so = (
        verdict(Facts(noted=(Noted("condition", "only-at-idle"),))),
        verdict(Facts(noted=(Noted("condition", "only-at-idle", found=False),))),
    )
    never = verdict(Facts(noted=(Noted("look", "ground-corroded", found=False),)))
    assert so.probability("throttle-deposits") > 3.0 * not_so.probability("throttle-deposits")
    assert so.probability("boost-leak") < 0.5 * not_so.probability("boost-leak")
    assert never.first.id == "none"


def test_a_code_whose_frame_shows_the_fault_is_not_heard_twice() -> None:
    """What the frame shows the monitor saw: then the code says little more; otherwise it says what it always does."""
    facts = Facts((StoredCode("P0106"),))
    plain = ratio(facts, "code P0106", "map-offset")
    assert ratio(facts, "code P0106", "map-offset", {"P0106": 0.0}) == pytest.approx(plain)
    assert 1.0 < ratio(facts, "code P0106", "map-offset", {"P0106": 1.0}) < 2.0


def test_looks_and_history_alone_are_no_complaint() -> None:
    """Somebody who looks round a sound car does not make it a sick one."""
    looked = verdict(Facts(noted=(Noted("look", "ground-corroded", found=False),)))
    felt = verdict(Facts(noted=(Noted("symptom", "thirst", found=False), Noted("condition", "only-cold"))))
    assert looked.probability("none") > 0.3
    assert felt.probability("none") < 0.3


@pytest.mark.parametrize("kind", ["looks", "history", "conditions"])
def test_every_cause_is_spoken_for_or_the_entry_says_something(kind: str) -> None:
    for entry in getattr(KNOWN, kind).values():
        assert max(entry.sets.values()) > 1.3 * entry.by_chance or min(entry.sets.values()) < 0.7 * entry.by_chance
        assert entry.by_chance <= 0.3
        assert entry.says.endswith(".")
        assert len(entry.title) <= 60


def test_without_a_recording_nothing_has_its_time() -> None:
    assert verdict(Facts(codes=(StoredCode("P0106"),))).timeline == ()
