"""Level checks: one number from the recording against what a healthy engine shows, narrowed by good recordings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.expectations import Expectation, expected
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony, single
from airproof.knowledge.model import NONE
from airproof.recording.recording import Interval

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Measured:
    """A value with its own uncertainty (one standard deviation) and the stretches it rests on."""

    value: float
    sd: float
    intervals: tuple[Interval, ...]


UNMOVED_SHARE = 0.6
"""How often a cause that the control unit can make up for does not move the value at all; judged: Airproof authors."""


def _perhaps_unmoved(testimony: Testimony, healthy: Expectation) -> Testimony:
    rows = dict(testimony.log_likelihood)
    unmoved = float(rows[NONE][0])
    for cause in healthy.made_up_for:
        if cause in rows:
            rows[cause] = np.logaddexp(np.log1p(-UNMOVED_SHARE) + rows[cause], np.log(UNMOVED_SHARE) + unmoved)
    return replace(testimony, log_likelihood=rows)


def _nothing_said(_case: Case, _cause: str, _sizes: Floats) -> Floats | None:
    return None


def _nothing_known(_case: Case) -> tuple[float, float] | None:
    return None


@dataclass(frozen=True)
class Level:
    """One level check.

    `measure(case)` gives None where the recording cannot tell. `undone(case, cause, sizes)` gives the value that would
    have been measured without the cause, shape (S,), or None where only the data's `moves` say something. `words`
    makes the sentence from value and expected range.
    """

    id: str
    expectation: str
    measure: Callable[[Case], Measured | None]
    words: Callable[[float, tuple[float, float]], str]
    undone: Callable[[Case, str, Floats], Floats | None] = _nothing_said
    known_mean: Callable[[Case], tuple[float, float] | None] = _nothing_known
    repeats: bool = True  # whether a known-good recording says what to expect of this one

    def testify(self, case: Case) -> list[Testimony]:
        """The testimony, or none where the recording cannot tell."""
        measured = self.measure(case)
        if measured is None:
            return []
        healthy = expected(self.expectation)
        mean, sd = self.healthy(case)
        total = float(np.hypot(sd, measured.sd))
        off: dict[str, Floats] = {}
        for cause, sizes in case.sizes.items():
            value = self.undone(case, cause, sizes)
            if value is None:
                value = measured.value - healthy.moves.get(cause, 0.0) * sizes - healthy.jumps.get(cause, 0.0)
            off[cause] = np.broadcast_to(value - mean, sizes.shape)
        band = (max(mean - 1.645 * total, healthy.least), mean + 1.645 * total)
        finding = Finding(
            id=self.id,
            value=measured.value,
            sd=measured.sd,
            unit=healthy.unit,
            expected=band,
            intervals=measured.intervals,
            says=self.words(measured.value, band),
        )
        testimony = single(finding, off, total, healthy.blur)
        return [_perhaps_unmoved(testimony, healthy)]

    def healthy(self, case: Case) -> tuple[float, float]:
        """Mean and sd on this engine: what is known of all, narrowed by each known-good recording of it."""
        healthy = expected(self.expectation)
        known = self.known_mean(case)
        mean, variance = (healthy.mean, healthy.sd**2) if known is None else (known[0], known[1] ** 2)
        for good in case.baselines if self.repeats else ():
            seen = self.measure(good)
            if seen is None:
                continue
            noise = seen.sd**2 + healthy.day_sd**2
            gain = variance / (variance + noise)
            mean, variance = mean + gain * (seen.value - mean), variance * (1 - gain)
        return mean, float(np.sqrt(variance + (healthy.day_sd**2 if case.baselines and self.repeats else 0.0)))
