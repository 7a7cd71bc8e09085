"""The whole picture: all summaries at once, against what rehearsals teach that each cause does to them.

Where every other check asks one question, this one knows what goes with what: a leak that leans the idle also shuts
the throttle and quickens the engine, and leaves full load alone. The summaries are one Gaussian, taken place by place
(engine off, idle, loads, full load, in motion), each given those before it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from learned import (
    STRAY_BINS,
    Context,
    another_drive,
    context_of_case,
    learned,
    makers_spread,
    scaled,
)
from numpy.typing import NDArray
from summaries import NAMES, summaries
from summary_words import PLACES, in_words

from airproof.diagnosis.case import Case
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony
from airproof.knowledge.model import NONE

Floats = NDArray[np.float64]

TAIL = 8.0  # degrees of freedom, as in `testimony`, but of many summaries that share the blame
WIDER = 1.15  # of the healthy covariance, for what is learnt from some hundred cars only
FEWEST = 8  # summaries; with fewer there is no picture
FURTHEST = 9.0  # a summary further from the usual than this says no more than this
REHEARSED_DAY_SD_KPA = 1.05  # weather and altitude of the rehearsals learnt from
KNOWN_DAY_SD_KPA = 2.0
ANOTHER_DAY_SD_KPA = 1.8  # weather of two days at one place: sqrt(2) times that of one
PARTLY = ((0.3, 0.05), (0.6, 0.05))
"""A fault may be there for part of the time or grow: then so much of its shift, with that probability. judged: Airproof
authors."""

UNANSWERED_SHARE = 0.10
ANSWERS = ("n", "thr", "trim", "lam", "load", "rich", "adv", "fve", "gate", "short", "slow", "pull")
MISREAD = (
    "map-offset",
    "map-gain",
    "map-slow",
    "map-stuck",
    "supply-reference",
    "control-unit",
    "iat-offset",
    "map-circuit",
)
"""A control unit may have more to go by than the profile says: where a sensor lies, it does not answer, with that
probability, by what it commands (these summaries). judged: Airproof authors, as in the relations."""

USUALLY_OFF = 2.0  # standard deviations, root mean square over one place; healthy cars of any make stay below

AVERAGED = {
    "map-circuit": np.array([1.0, 2.0]),
    "control-unit": np.concatenate([-np.geomspace(4.0, 30.0, 12)[::-1], np.geomspace(4.0, 30.0, 12)]),
    "ignition": np.geomspace(2.0, 16.0, 10),
}
"""Sizes over which a cause without a size is averaged: open and shorted; misread by so many %; so many % misfires."""


def check(case: Case) -> Sequence[Testimony]:
    """One testimony for each place that the recording shows."""
    known_day = case.weather.sd_kpa <= KNOWN_DAY_SD_KPA
    # Where nothing is known of the place, the car's own sensors only say near which day to look.
    weather, day = case.weather, (case.weather if known_day else case.barometer).kpa
    found = summaries(case, day)
    by_day = np.nan_to_num(summaries(case, day + 1.0) - found)
    context = context_of_case(case, day)
    seen = np.isfinite(found)
    if case.baselines:
        usual, spread = _of_this_car(case, day)
        spread = spread + ANOTHER_DAY_SD_KPA**2 * np.outer(by_day, by_day)
        seen &= np.isfinite(usual)
    else:
        usual = learned().expected(context)
        spread = WIDER * learned().spread[int(context.induction > 0)]
        spread = spread + makers_spread(case.profile.idle_rpm is not None, _boost_stated(case))
        found = found + by_day * (weather.kpa - day)
        more = max(weather.sd_kpa**2 - REHEARSED_DAY_SD_KPA**2, 0.0)
        spread = spread + more * np.outer(by_day, by_day)
    order = np.array([k for place in PLACES for k in PLACES[place] if seen[k]], dtype=np.intp)
    if order.size < FEWEST:
        return []
    off = np.clip(found - usual, -FURTHEST, FURTHEST)
    ends = np.cumsum([sum(bool(seen[k]) for k in PLACES[place]) for place in PLACES])
    rows = {cause: _by_place(cause, sizes, off, spread, context, order, ends) for cause, sizes in case.sizes.items()}
    deviation = np.sqrt(np.diag(spread))
    testimonies = []
    for number, place in enumerate(PLACES):
        there = [k for k in PLACES[place] if seen[k]]
        if there:
            finding = _finding(case, place, there, off, deviation)
            testimonies.append(Testimony(finding, {cause: row[:, number] for cause, row in rows.items()}))
    return testimonies


def _boost_stated(case: Case) -> bool:
    return not case.profile.boosted or case.profile.rated_boost_kpa is not None


def _of_this_car(case: Case, day_kpa: float) -> tuple[Floats, Floats]:
    """Usual values (P,), NaN where not seen, and covariance (P, P) of this car from its known-good recordings."""
    good = np.array([summaries(baseline, day_kpa) for baseline in case.baselines])
    known = np.isfinite(good).sum(axis=0)
    usual = np.where(known > 0, np.nansum(good, axis=0) / np.maximum(known, 1), np.nan)
    return usual, learned().day + another_drive()


def _by_place(
    cause: str,
    sizes: Floats,
    off: Floats,
    spread: Floats,
    context: Context,
    order: NDArray[np.intp],
    ends: NDArray[np.intp],
) -> Floats:
    """ln density of each place given those before it: (S, places)."""
    if cause not in learned().shifts:
        lower = _lower(spread[np.ix_(order, order)])
        return (
            np.repeat(_densities(off[None, order], lower, ends), sizes.size, axis=0)
            if cause == NONE
            else np.zeros((sizes.size, ends.size))
        )
    asked = AVERAGED.get(cause, sizes)
    shift = learned().shift(cause, asked, context)[:, order]
    which = (
        np.digitize(scaled(cause, asked), STRAY_BINS) if cause != "map-stuck" else np.zeros(asked.size, dtype=np.intp)
    )
    whole = np.zeros((asked.size, ends.size))
    for number in np.unique(which):
        lower = _lower((spread + learned().stray(cause, int(number)))[np.ix_(order, order)])
        mine = which == number
        ways = _ways(cause, order)
        total = [
            np.log(share) + np.cumsum(_densities(off[order] - part * shift[mine], lower, ends), axis=1)
            for part, share in ways
        ]
        whole[mine] = np.logaddexp.reduce(total, axis=0)
    if cause in AVERAGED:
        whole = np.repeat(np.logaddexp.reduce(whole, axis=0, keepdims=True) - np.log(asked.size), sizes.size, axis=0)
    return np.diff(whole, axis=1, prepend=0.0)


def _ways(cause: str, order: NDArray[np.intp]) -> list[tuple[Floats, float]]:
    """Shares of the shift (P,) in which a cause may show, with their probabilities."""
    silent = UNANSWERED_SHARE if cause in MISREAD else 0.0
    ways = [(np.full(order.size, part), share) for part, share in PARTLY]
    if silent:
        answers = [NAMES[k].partition("_")[2] in ANSWERS for k in order]
        ways.append((np.where(answers, 0.0, 1.0), silent))
    return [(np.ones(order.size), 1.0 - sum(share for _, share in ways)), *ways]


def _lower(covariance: Floats) -> Floats:
    return np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)


def _densities(off: Floats, lower: Floats, ends: NDArray[np.intp]) -> Floats:
    z = np.linalg.solve(lower, off.T).T
    rows = -0.5 * (TAIL + 1.0) * np.log1p(np.square(z) / TAIL) - np.log(np.diag(lower))
    summed = np.concatenate([np.zeros((rows.shape[0], 1)), np.cumsum(rows, axis=1)], axis=1)[:, ends]
    return np.diff(summed, axis=1, prepend=0.0)


def _finding(case: Case, place: str, there: list[int], off: Floats, deviation: Floats) -> Finding:
    z = off[there] / deviation[there]
    worst = sorted(range(len(there)), key=lambda k: -abs(z[k]))[:3]
    told = [
        in_words(NAMES[there[k]], float(off[there[k]]), float(deviation[there[k]])) for k in worst if abs(z[k]) > 1.645
    ]
    usual = "of this car" if case.baselines else "of such a car"
    says = f"{place}: {'; '.join(told)}" if told else f"{place}: {len(there)} readings, each as usual {usual}"
    value = float(np.sqrt(np.mean(np.square(z))))
    whole = ((case.recording.start_s, case.recording.end_s),)
    return Finding(f"picture-{place.replace(' ', '-')}", value, 0.0, "sd", (0.0, USUALLY_OFF), whole, says)
