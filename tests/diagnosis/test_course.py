"""A fault that came while the car was recorded: both courses of every cause, added as they should be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from small_cases import TURBO, changed, workshop_round

from airproof.diagnosis.bayes import Posterior, posterior_of
from airproof.diagnosis.course import END, LONG_S, SHARE, course_of, end_of
from airproof.diagnosis.examine import case_within, examine
from airproof.diagnosis.picture.check import check
from airproof.diagnosis.weigh import weigh
from airproof.knowledge.model import NONE
from airproof.recording.recording import Recording

ROUNDS = [workshop_round(TURBO, seed=seed) for seed in range(3)]
STEP = ROUNDS[0].duration_s + 0.2


def one_after_the_other(rounds: Sequence[Recording]) -> Recording:
    """Rounds as one recording."""
    signals = {
        name: replace(
            signal,
            time=np.concatenate([each[name].time + k * STEP for k, each in enumerate(rounds)]),
            values=np.concatenate([each[name].values for each in rounds]),
        )
        for name, signal in rounds[0].signals.items()
    }
    return replace(rounds[0], signals=signals)


def lying(recording: Recording) -> Recording:
    """The same with a pressure sensor that reads 9 kPa too much."""
    return changed(recording, "manifold_pressure", lambda pressure: pressure + 9.0)


GOOD = one_after_the_other(ROUNDS)
LONG = GOOD.duration_s


def examined(recording: Recording):  # type: ignore[no-untyped-def]
    return examine([recording], TURBO)


def posterior(recording: Recording, there=None) -> Posterior:  # type: ignore[no-untyped-def]
    one = examined(recording)
    return posterior_of(one.hypotheses().log_prior, one.shows({}, there).testimonies)


def test_a_part_is_no_less_strange_than_the_whole() -> None:
    one = examined(GOOD)
    assert one.shows({}, [(0.0, 60.0)]).case.strange_at_least == one.shows({}).strangeness > 0.0
    assert check(case_within(one.case, [(0.0, 60.0)], strangeness=0.6)).strangeness == 0.6


@pytest.fixture(scope="module")
def grown() -> Recording:
    """The sensor lies in the last of three rounds."""
    return one_after_the_other([*ROUNDS[:2], lying(ROUNDS[2])])


def test_the_courses_add_up_to_the_odds_of_the_page(grown: Recording) -> None:
    one = examined(grown)
    whole = posterior(grown)
    end = ((grown.end_s - END * LONG, grown.end_s),)
    at_end = posterior(grown, end)
    course = course_of(one.case, end, whole, at_end)
    assert course.end_reported
    added = [*one.shows({}, end).testimonies, course.testimony]
    found = posterior_of(one.hypotheses().log_prior, added).probability
    for cause, p in found.items():
        both = [p.probability[cause] / p.probability[NONE] for p in (whole, at_end)]
        assert p / found[NONE] == pytest.approx((1.0 - SHARE) * both[0] + SHARE * both[1], rel=1e-9)
    assert float(course.testimony.log_likelihood[NONE][0]) == pytest.approx(0.0, abs=1e-12)


def test_what_came_late_is_found_and_its_time_is_told(grown: Recording) -> None:
    averaged, weighing = posterior(grown).probability, weigh([grown], TURBO)
    first = weighing.verdict.first
    assert averaged["map-offset"] < 0.2
    assert first.id == "map-offset"
    assert first.probability > 0.8  # an offset of its end is a span, too, where it is spread over all of it
    assert first.size is not None
    assert first.size.low < 9.0 < first.size.high
    assert not any("not explained" in line for line in weighing.verdict.cannot_tell)
    assert weighing.there is not None
    assert weighing.there[0][0] == pytest.approx(grown.end_s - END * LONG)
    odds = first.probability / (1.0 - first.probability)
    assert sum(one.decibans for one in first.evidence) == pytest.approx(10.0 * np.log10(odds), abs=1e-6)


def test_where_nothing_changes_it_says_next_to_nothing() -> None:
    """A lie of the whole drive is found as before; a healthy car stays healthy."""
    for recording in (GOOD, lying(GOOD)):
        before, after = posterior(recording), weigh([recording], TURBO).verdict
        assert after.first.id == max(before.probability, key=lambda c: before.probability[c])
        assert abs(after.first.probability - before.probability[after.first.id]) < 0.1


def test_the_end_is_asked_only_where_it_can_say_something() -> None:
    case = examined(GOOD).case
    ((start, end),) = end_of(case) or ()
    assert end == GOOD.end_s
    assert end - start == pytest.approx(END * LONG)
    assert end_of(replace(case, recording=GOOD.between(0.0, LONG_S - 1.0))) is None


def test_a_cause_that_the_whole_is_sure_of_is_held_against_the_end() -> None:
    """What half a drive shows may look like another cause that was there all along."""
    doubt = posterior(GOOD)
    sure = replace(doubt, probability={**dict.fromkeys(doubt.probability, 1e-6), "ignition": 0.98, NONE: 1e-4})
    late = replace(doubt, probability={**dict.fromkeys(doubt.probability, 1e-9), "vacuum-leak": 0.99, NONE: 1e-7})
    course = course_of(examined(GOOD).case, ((0.0, 1.0),), sure, late)
    assert course.end_reported


def test_what_the_whole_has_found_is_dated_by_it() -> None:
    doubt = posterior(GOOD)
    found = replace(doubt, probability={**dict.fromkeys(doubt.probability, 1e-6), "maf-scale": 0.95, NONE: 1e-2})
    late = replace(doubt, probability={**dict.fromkeys(doubt.probability, 1e-9), "maf-scale": 0.99, NONE: 1e-7})
    assert not course_of(examined(GOOD).case, ((0.0, 1.0),), found, late).end_reported
