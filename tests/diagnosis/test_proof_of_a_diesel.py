"""The proof of a repair on a diesel: by what is judged of one, and by nothing else."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import DAY, DIESEL, changed, diesel_round, never_at_rest, off_by

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.weigh import weigh
from airproof.recording.recording import Recording
from airproof.repair.proof.after import Said
from airproof.repair.proof.proof import Proof
from airproof.repair.proof.prove import AfterRepair, Before, Done, prove

BEFORE, AFTER = diesel_round(), diesel_round(seed=5)
OFFSET = 20.0
READ = Said(codes_read=True, cleared=True, warm_ups=3, distance_km=60.0, days=7.0)
OF_A_THROTTLE = ("trim", "overrun", "idle-", "throttle", "air-flow", "response")


def _proved(before: Recording, after: Recording, step: str = "replace-map-sensor", said: Said = READ) -> Proof:
    day = barometer_of(barometer_kpa=DAY)
    weighing = weigh([before], DIESEL, codes=["P0106"], barometer=day)
    then = Before.weighed(weighing, day, codes={"P0106": "stored"})
    return prove(then, AfterRepair((after,), day, said=said), Done((step,)), DIESEL)


def test_an_offset_that_is_gone() -> None:
    found = _proved(off_by(OFFSET, BEFORE), AFTER)
    assert found.judgement == "proved"
    assert found.cause == "map-offset"


def test_an_offset_that_is_still_there() -> None:
    assert _proved(off_by(OFFSET, BEFORE), off_by(OFFSET, AFTER), said=Said()).judgement == "not fixed"


@pytest.mark.parametrize("after", [AFTER, never_at_rest(AFTER)])
def test_only_what_is_judged_of_a_diesel_is_compared(after: Recording) -> None:
    found = _proved(never_at_rest(off_by(OFFSET, BEFORE)), after)
    assert not [one.id for one in found.changes if one.id.startswith(OF_A_THROTTLE) and one.id != "idle-baro"]
    assert not [one.says for one in found.missing if "trim" in one.says or "overrun" in one.says]


def test_idle_against_idle_is_told_as_such() -> None:
    found = _proved(never_at_rest(off_by(OFFSET, BEFORE)), never_at_rest(AFTER))
    change = next(one for one in found.changes if one.id == "idle-baro")
    assert change.title == "manifold pressure against the day"
    assert change.change.value == pytest.approx(-OFFSET, abs=1.0)
    assert any(one.what == "key-on" for one in found.missing)


def test_no_recording_shows_how_soon_its_pressure_answers() -> None:
    before = weigh([BEFORE], DIESEL, barometer=barometer_of(barometer_kpa=DAY))
    slow = {cause.id: 0.02 for cause in before.verdict.causes} | {"map-slow": 0.9}
    found = prove(
        Before((BEFORE,), slow, barometer_of(barometer_kpa=DAY)),
        AfterRepair((AFTER,), barometer_of(barometer_kpa=DAY), said=READ),
        Done(("clean-map-sensor",), "map-slow"),
        DIESEL,
    )
    assert found.judgement != "proved"
    assert any(one.what == "answer" for one in found.missing)


def test_a_frozen_sensor_that_moves_again() -> None:
    stuck = changed(BEFORE, "manifold_pressure", lambda v: np.full_like(v, 101.0))
    found = _proved(stuck, AFTER)
    assert found.probabilities["fixed"] > 0.9
