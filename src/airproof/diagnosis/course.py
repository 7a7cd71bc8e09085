"""A fault that grew or came while the car was recorded: what the end of the recording says by itself.

A number taken from a whole recording mixes the time before a fault with the time after it, so that what has only just
come is as small as what a healthy car may show. So each cause is given two courses: it was there all along, or only the
end of the recording shows the whole of it. Each course is weighed by the same checks, and the two are added with the
share each has beforehand. What that changes is one more testimony, so that the weights still add up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airproof.diagnosis.bayes import Posterior
from airproof.diagnosis.case import Case
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony
from airproof.knowledge.model import NONE
from airproof.recording.recording import Interval

END = 1.0 / 3.0
"""The part of a recording that is its end; judged: Airproof authors: long enough to hold most regimes of a drive."""

SHARE = 0.1
"""How many faults are whole only at the end of a recording; judged: Airproof authors."""

LONG_S = 180.0
"""A recording shorter than this has no end that says anything by itself; judged: Airproof authors."""

SURE = 0.9
"""Where a cause is as probable as that from the whole recording, its end is not asked; judged: Airproof authors."""

COURSE = "course"
BY_ITSELF = "the last third of the recording, weighed by itself"
LATE = "that it came while the car was recorded, as few faults do"

TINY = 1e-300


@dataclass(frozen=True)
class Course:
    """Whether the end says more of the likeliest cause than the whole does, and the testimony to be added to the one
    of the two that is reported.
    """

    end_reported: bool
    testimony: Testimony


def end_of(case: Case, posterior: Posterior) -> tuple[Interval, ...] | None:
    """The end of the recording (s), where it is worth to be weighed by itself."""
    sure = max((p for cause, p in posterior.probability.items() if cause != NONE), default=1.0)
    if case.recording.duration_s < LONG_S or sure > SURE:
        return None
    return ((case.recording.end_s - END * case.recording.duration_s, case.recording.end_s),)


def course_of(case: Case, end: tuple[Interval, ...], whole: Posterior, at_end: Posterior) -> Course:
    """Both courses of every cause weighed together, from what the whole recording and its end make of them."""
    odds = {
        cause: [max(p.probability[cause], TINY) / max(p.probability[NONE], TINY) for p in (whole, at_end)]
        for cause in case.sizes
    }
    both = {cause: (1.0 - SHARE) * all_along + SHARE * late for cause, (all_along, late) in odds.items()}
    likeliest = max(both, key=lambda cause: both[cause])
    all_along, late = odds[likeliest]
    end_reported = likeliest != NONE and SHARE * late > (1.0 - SHARE) * all_along
    rows = {
        cause: np.full(sizes.size, np.log(both[cause]) - np.log(odds[cause][int(end_reported)]))
        for cause, sizes in case.sizes.items()
    }
    says = LATE if end_reported else BY_ITSELF
    return Course(end_reported, Testimony(Finding(COURSE, 0.0, 0.0, "", (0.0, 1.0), end, says), rows))
