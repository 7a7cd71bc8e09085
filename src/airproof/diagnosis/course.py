"""A fault that was not there all along: it came while the car was recorded, or it comes and goes within seconds.

A number taken from a whole recording mixes the time without a fault with the time with it, so that what has only just
come, or is there for seconds at a time, is as small as what a healthy car may show. So each cause is given three
courses: there all along, whole only at the end of the recording, or coming and going. The first two are weighed by the
same checks, of the whole recording and of its end; the third by what switches (`comes_and_goes.py`). They are added
with the share each has beforehand. What that changes is one more testimony, so that the weights still add up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from airproof.diagnosis.bayes import Posterior
from airproof.diagnosis.case import Case
from airproof.diagnosis.comes_and_goes import ComesAndGoes
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
"""Where a cause is as probable as that, no other is asked for that comes and goes; judged: Airproof authors."""

SWITCHING_SHARE = 0.05
"""How many faults come and go within seconds; judged: Airproof authors."""

LOUDEST = 10.0
"""Nepers that switching may weigh at most for the foremost of the causes it speaks for. Found, as BETWEEN, on rehearsed
cars kept for it: they make the truth most probable."""

BETWEEN = 0.2
"""The share with which switching is heard between the causes it speaks for: what its relations are off by in one window
they are off by, under kindred causes, in the next."""

OFTEN = 3
"""Times that it was there, from which it is said to come and go; judged: Airproof authors."""

COURSE, SWITCHING = "course", "comes-and-goes"
BY_ITSELF = "the last third of the recording, weighed by itself"
SECONDS = "that something comes and goes within seconds at like speed and load"
LATE = "that it came while the car was recorded, as few faults do"

TINY = 1e-300


@dataclass(frozen=True)
class Course:
    """Whether the end says more of the likeliest cause than the whole does, and the testimony to be added to the one
    of the two that is reported.
    """

    end_reported: bool
    testimony: Testimony


@dataclass(frozen=True)
class Switching:
    """ln odds of every cause against nothing being wrong with "it comes and goes" added, the likeliest cause then, that
    it comes and goes, where that is so of it, and when what switches was there.
    """

    log_odds: Mapping[str, float]
    cause: str
    reported: ComesAndGoes | None
    there: tuple[Interval, ...]

    def beside(self, other: Posterior) -> Testimony:
        """The testimony that, heard with what made `other`, leads to these odds."""
        rows = {
            cause: np.full(other.sizes[cause].size, odds - _log_odds(other, cause))
            for cause, odds in self.log_odds.items()
        }
        held_down = float(rows[self.cause][0]) < 0.0
        says = in_words(self.reported, seldom=held_down) if self.reported else SECONDS
        times = float(len(self.there)) if self.reported else 0.0
        return Testimony(Finding(SWITCHING, times, 0.0, "", (0.0, OFTEN - 1.0), self.there, says), rows)


def settled(posterior: Posterior) -> bool:
    """Whether some cause is so probable already that no other one is asked for that comes and goes."""
    return max((p for cause, p in posterior.probability.items() if cause != NONE), default=1.0) > SURE


def end_of(case: Case) -> tuple[Interval, ...] | None:
    """The end of the recording (s), where it is long enough to be weighed by itself.

    However sure the whole of it is: what it mixes may look like another cause that was there all along.
    """
    if case.recording.duration_s < LONG_S:
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
    found_before = settled(whole) and likeliest == max(whole.probability, key=lambda cause: whole.probability[cause])
    # What the whole has found already is dated and sized by when it was there, which tells more than a third does.
    end_reported = likeliest != NONE and SHARE * late > (1.0 - SHARE) * all_along and not found_before
    rows = {
        cause: np.full(sizes.size, np.log(both[cause]) - np.log(odds[cause][int(end_reported)]))
        for cause, sizes in case.sizes.items()
    }
    says = LATE if end_reported else BY_ITSELF
    return Course(end_reported, Testimony(Finding(COURSE, 0.0, 0.0, "", (0.0, 1.0), end, says), rows))


def switching_of(
    switching: Callable[[str | None], Mapping[str, ComesAndGoes]],
    so_far: Posterior,
    whole: Posterior,
    told: Posterior,
) -> Switching | None:
    """Every cause also weighed as coming and going; None where nothing switches.

    `switching` says what comes and goes, of one cause or of all (None); `so_far` is what the other courses make of the
    causes, `whole` what the whole recording does, `told` what was told alone.
    Where one is settled its probability is, and it is only asked whether it comes and goes.
    """
    odds = {cause: _log_odds(so_far, cause) for cause in so_far.probability}
    if settled(so_far):
        cause = max(odds, key=lambda cause: odds[cause])
        one = switching(cause).get(cause)
        return None if one is None or not _often(one) else Switching(odds, cause, one, one.there)
    found = switching(None)
    if not found:
        return None
    so = _log_odds_switching(found, whole, told)
    both = {cause: float(np.logaddexp(log, so.get(cause, -np.inf))) for cause, log in odds.items()}
    likeliest = max(both, key=lambda cause: both[cause])
    one = found.get(likeliest)
    by_switching = one is not None and _often(one) and _rather(one, so[likeliest], odds[likeliest])
    foremost = max(found.values(), key=lambda one: one.nepers)
    return Switching(both, likeliest, one if by_switching else None, (one or foremost).there)


def _log_odds_switching(found: Mapping[str, ComesAndGoes], whole: Posterior, told: Posterior) -> dict[str, float]:
    """ln odds of each cause coming and going against nothing being wrong.

    What was told is as true of a fault that comes and goes. What the recording shows besides mixes the times with the
    fault and those without, so that it is heard only between the causes, not against nothing being wrong.
    """
    foremost = max(one.nepers for one in found.values())
    shown = {cause: _log_odds(whole, cause) - _log_odds(told, cause) for cause in found}
    most_shown = max(shown.values())
    return {
        cause: _log_odds(told, cause)
        + float(np.log(SWITCHING_SHARE))
        + min(foremost, LOUDEST)
        - BETWEEN * (foremost - one.nepers)
        + shown[cause]
        - most_shown
        for cause, one in found.items()
    }


def _often(one: ComesAndGoes) -> bool:
    return len(one.there) >= OFTEN


def _rather(one: ComesAndGoes, log_odds: float, log_odds_otherwise: float) -> bool:
    """Whether a cause rather comes and goes than takes another course: by the odds of either, or, as those are held
    down, by what switching explains better than lasting, which outdoes how seldom it is.
    """
    seldom = float(np.log((1.0 - SWITCHING_SHARE) / SWITCHING_SHARE))
    return log_odds > log_odds_otherwise or one.rather_than_lasting > seldom


def in_words(one: ComesAndGoes, *, seldom: bool) -> str:
    """That it comes and goes, how often and for how long; `seldom`: that few faults do, where that is what weighs."""
    lasting = sorted(end - start for start, end in one.there)
    seen = f"seen about {len(lasting)} times, for {lasting[0]:.0f} to {lasting[-1]:.0f} s"
    return f"at like speed and load it comes and goes{', as few faults do' if seldom else ''}: {seen}"


def _log_odds(posterior: Posterior, cause: str) -> float:
    """ln odds of a cause against nothing being wrong."""
    return float(np.log(max(posterior.probability[cause], TINY)) - np.log(max(posterior.probability[NONE], TINY)))
