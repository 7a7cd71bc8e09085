"""Courses: what was wrong before, and what may be wrong after; each with its prior and how well both sides bear it out.

Before: one cause at one size, as probable as the verdict has it. After: nothing; the same; the same and smaller; or
nothing of that, and another cause in its place. The prior of each comes from what was done (docs/proof.md, section 3).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.bayes import posterior_of
from airproof.diagnosis.examine import checked
from airproof.diagnosis.hypotheses import Hypotheses
from airproof.diagnosis.testimony import Testimony
from airproof.engine.air_path import AIR_THROUGH_THROTTLE
from airproof.knowledge.model import NONE, Cause, Step
from airproof.repair.proof.by_relation import leaks_alone
from airproof.repair.proof.joint import Witness, Wrong
from airproof.repair.proof.judged import Judged
from airproof.repair.proof.proof import OUTCOMES, Outcome
from airproof.repair.proof.sides import Sides
from airproof.repair.proof.witnesses import witnesses

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

IN_QUESTION, MOST_CAUSES = 0.003, 9  # causes before that are followed: from this probability on, and at most so many
MOST_SIZES, OTHER_SIZES, SIZES_AFTER = 48, 14, 121  # of a cause before; of another after; for the size after alone
LEAST_RATE = 1e-6  # 1/s: a rate of nothing has no logarithm
NEGLIGIBLE = 1e-4  # of the most probable size: less is not followed
REMAINING = np.linspace(0.25, 0.9, 9)
"""What a half-hearted repair leaves of a size, each as probable as the other; less than a quarter of what was noticed
counts as gone, as good parts differ by so much."""
WHOLE = frozenset({"map-stuck", "map-circuit"})
"""Causes that are there or not, and never in part."""


def neutral(cause: Cause) -> float:
    """The size at which nothing is wrong: 1 for what is counted as a multiple of the normal, else 0."""
    return 1.0 if cause.unit.startswith("x") else 0.0


@dataclass(frozen=True)
class Before:
    """A cause before: its probability, and the sizes (S,) that are followed with their weights, summing to 1."""

    cause: str
    probability: float
    sizes: Floats
    weights: Floats


@dataclass(frozen=True)
class Grid:
    """The sizes (m,) of one cause that are asked after, and what each part of them is for.

    `others`: if it is another cause, with `log_prior` over them, which sums to 1 over all causes but none. Of a cause
    that was there before the grid begins with its sizes as before (S,) and what remains of each at every share
    (`noticed` (shares, S): whether a driver would notice that); `alone`: evenly from nothing on, for the size alone.
    """

    sizes: Floats
    others: Places
    log_prior: Floats
    noticed: NDArray[np.bool_]
    alone: Places


@dataclass(frozen=True)
class Asked:
    """Both sides with the sizes they are asked at, before and after."""

    sides: Sides
    before: Mapping[str, Before]
    after: Mapping[str, Grid]
    witnesses: Sequence[Witness]

    def sized(self, cause: str) -> bool:
        """Whether the cause was there before, with a size that can be told by itself."""
        return cause in self.after and self.after[cause].alone.size > 0

    def says(self, before: str, places: Places, after: str, there: Places) -> Floats:
        """ln p(after | before) of all witnesses together, for pairs of places that broadcast."""
        first, second = np.broadcast_arrays(places, there)
        pairs = (Wrong(before, first.ravel()), Wrong(after, second.ravel()))
        total: Floats = np.sum([one.says(*pairs) for one in self.witnesses], axis=0)
        return np.asarray(total).reshape(first.shape) if self.witnesses else np.zeros(first.shape)


def asked(sides: Sides, hypotheses: Hypotheses, probability: Mapping[str, float], followed: Sequence[str]) -> Asked:
    """Choose the sizes that are followed, and put them to both sides; `followed` are causes looked at in any case."""
    before = _before(sides, hypotheses, probability, followed)
    after = {cause: _grid(cause, hypotheses, before.get(cause)) for cause in hypotheses.sizes}
    likely = {cause: float(one.sizes[one.weights.argmax()]) for cause, one in before.items()}
    put = sides.with_sizes(
        {cause: one.sizes for cause, one in before.items()}, {cause: grid.sizes for cause, grid in after.items()}
    )
    return Asked(put, before, after, witnesses(put, likely, hypotheses.causes))


def _grid(cause: str, hypotheses: Hypotheses, before: Before | None) -> Grid:
    """The sizes of a cause after; `before` where it may have been there already."""
    every, known = hypotheses.sizes[cause], hypotheses.causes[cause]
    chosen = _evenly(every.size, OTHER_SIZES * (2 if every[0] < 0 else 1))
    weight = hypotheses.log_prior[cause][chosen]
    faulty = np.logaddexp.reduce([np.logaddexp.reduce(p) for c, p in hypotheses.log_prior.items() if c != NONE])
    whole = np.logaddexp.reduce(hypotheses.log_prior[cause]) - (faulty if cause != NONE else 0.0)
    log_prior = weight - np.logaddexp.reduce(weight) + whole
    if before is None or cause == NONE:
        return Grid(every[chosen], np.arange(chosen.size), log_prior, np.zeros((0, 0), dtype=bool), np.arange(0))
    there, none = before.sizes, neutral(known)
    in_part = known.size is not None and cause not in WHOLE
    left = none + (REMAINING if in_part else np.zeros(0))[:, None] * (there[None, :] - none)
    noticed = np.abs(left) >= (known.size.low if known.size is not None else 0.0)
    by_itself = _by_itself(known, there) if in_part else np.zeros(0)
    start = there.size + left.size
    return Grid(
        np.concatenate([there, left.ravel(), every[chosen], by_itself]),
        start + np.arange(chosen.size),
        log_prior,
        noticed,
        start + chosen.size + np.arange(by_itself.size),
    )


def _by_itself(cause: Cause, before: Floats) -> Floats:
    """Sizes from nothing (and beyond, where the other sign can be) to somewhat more than before, evenly."""
    none = neutral(cause)
    ends = float(np.max(np.abs(before - none))) * 1.15
    assert cause.size is not None
    grid = none + np.linspace(-ends if cause.size.signed else 0.0, ends, SIZES_AFTER)
    return np.maximum(grid, LEAST_RATE) if cause.unit == "1/s" else grid


def _evenly(count: int, most: int) -> Places:
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(np.intp))


def _before(
    sides: Sides, hypotheses: Hypotheses, probability: Mapping[str, float], followed: Sequence[str]
) -> dict[str, Before]:
    """The causes before that are followed; their sizes are what the checks alone say of them."""
    testimonies = checked(sides.before)
    sizes = posterior_of(hypotheses.log_prior, [*testimonies, *_as_sharp_as_it_is(sides, testimonies)]).sizes
    ranked = sorted((c for c in hypotheses.sizes if c != NONE), key=lambda c: -probability.get(c, 0.0))
    kept = [c for c in ranked if probability.get(c, 0.0) >= IN_QUESTION or c in followed]
    kept = sorted(kept, key=lambda c: c not in followed)[: max(MOST_CAUSES, len(followed))]
    total = sum(probability.get(c, 0.0) for c in (*kept, NONE))
    found = {}
    for cause in (NONE, *kept):
        weights = sizes[cause]
        likely = np.flatnonzero(weights > NEGLIGIBLE * weights.max())
        chosen = likely[_evenly(likely.size, MOST_SIZES)]
        # Each stands for those nearest to it.
        nearest = np.abs(likely[:, None] - chosen[None, :]).argmin(axis=1)
        stands_for = np.bincount(nearest, weights[likely], chosen.size)
        share = probability.get(cause, 0.0) / total if total > 0.0 else 1.0 / (len(kept) + 1)
        found[cause] = Before(cause, max(share, 1e-9), hypotheses.sizes[cause][chosen], stands_for / stands_for.sum())
    return found


def _as_sharp_as_it_is(sides: Sides, testimonies: Sequence[Testimony]) -> list[Testimony]:
    """What takes from the sizes of large leaks the sharpness that throttle flow does not have there."""
    better = leaks_alone(sides)
    those = [one for one in testimonies if one.finding.id.startswith(f"{AIR_THROUGH_THROTTLE.id}-")]
    if not better or not those:
        return []
    rows = {
        cause: better[cause] - np.sum([one.log_likelihood[cause] for one in those], axis=0)
        if cause in better
        else np.zeros(sizes.size)
        for cause, sizes in sides.before.sizes.items()
    }
    return [Testimony(those[0].finding, rows)]


@dataclass(frozen=True)
class Priors:
    """What was done, as priors of what is so after: `cures[c]` the chance that c is gone, `partly[c]` the share that is
    smaller than before where it is not.
    """

    cures: Mapping[str, float]
    partly: Mapping[str, float]
    new: float  # that another cause shows afterwards, made or laid bare by the work


def priors_of(steps: Sequence[Step], causes: Sequence[str], judged: Judged) -> Priors:
    """From the steps that were done; of work that nobody named, what is usual.

    Work cures by chance what it was not meant for, and hardly ever makes that smaller.
    """
    cures, partly = {}, {}
    for cause in causes:
        missed = 1.0
        for step in steps:
            missed *= 1.0 - step.cures.get(cause, 0.0)
        cures[cause] = min(max(1.0 - missed, judged.by_chance), 0.99) if steps else judged.usual_cure
        meant = not steps or any(cause in step.cures for step in steps)
        partly[cause] = judged.partly if meant else judged.by_chance
    return Priors(cures, partly, judged.new)


def even(priors: Priors) -> Priors:
    """As likely to fail as to help, whatever was done."""
    return replace(priors, cures=dict.fromkeys(priors.cures, 0.5))


@dataclass(frozen=True)
class Found:
    """The courses weighed.

    `likelihood[c]`: for each cause before, ln of the evidence of each outcome, the sizes before integrated out;
    `others[c]` of each other cause after.
    """

    asked: Asked
    likelihood: Mapping[str, Mapping[Outcome, float]]
    others: Mapping[str, Mapping[str, float]]

    def outcomes(self, priors: Priors) -> dict[Outcome, float]:
        """The probability of each outcome."""
        each = self._each(priors)
        total = np.logaddexp.reduce(list(each.values()))
        found = dict.fromkeys(OUTCOMES, 0.0)
        for (_, outcome), value in each.items():
            found[outcome] += float(np.exp(value - total))
        return found

    def causes_before(self, priors: Priors) -> dict[str, float]:
        """How probable each cause before is, now that the recording after is known."""
        each = self._each(priors)
        total = np.logaddexp.reduce(list(each.values()))
        found = dict.fromkeys(self.asked.before, 0.0)
        for (cause, _), value in each.items():
            found[cause] += float(np.exp(value - total))
        return found

    def something_else(self, priors: Priors) -> dict[str, float]:
        """How probable each other cause after is."""
        each = self._each(priors)
        total = np.logaddexp.reduce(list(each.values()))
        found: dict[str, float] = {}
        for before, others in self.others.items():
            whole = each[before, "something else"]
            sum_others = np.logaddexp.reduce(list(others.values()))
            for cause, value in others.items():
                found[cause] = found.get(cause, 0.0) + float(np.exp(whole - total + value - sum_others))
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    def _each(self, priors: Priors) -> dict[tuple[str, Outcome], float]:
        each: dict[tuple[str, Outcome], float] = {}
        for cause, said in self.likelihood.items():
            start = np.log(self.asked.before[cause].probability)
            if cause == NONE:
                each[cause, "nothing before"] = start + np.log1p(-priors.new) + said["nothing before"]
                each[cause, "something else"] = start + np.log(priors.new) + said["something else"]
                continue
            cured = priors.cures[cause]
            partly = priors.partly[cause] if np.isfinite(said["partly"]) else 0.0
            each[cause, "fixed"] = start + np.log(cured * (1.0 - priors.new)) + said["fixed"]
            each[cause, "something else"] = start + np.log(cured * priors.new) + said["something else"]
            each[cause, "same"] = start + np.log((1.0 - cured) * (1.0 - partly)) + said["same"]
            if partly:
                each[cause, "partly"] = start + np.log((1.0 - cured) * partly) + said["partly"]
        return each

    def size_after(self, cause: str) -> tuple[Floats, Floats]:
        """Sizes after (m,) of a cause that was there before, and the probability of each, every one as likely at first.

        The sizes before are integrated out.
        """
        one, places = self.asked.before[cause], self.asked.after[cause].alone
        said = self.asked.says(cause, np.arange(one.sizes.size)[:, None], cause, places[None, :])
        given = np.logaddexp.reduce(said + np.log(one.weights)[:, None], axis=0)
        return self.asked.after[cause].sizes[places], np.exp(given - np.logaddexp.reduce(given))

    def size_before(self, cause: str) -> tuple[Floats, Floats]:
        """Sizes before (S,) of a cause and the probability of each, by both sides."""
        one = self.asked.before[cause]
        places, there = np.arange(one.sizes.size), self.asked.after[cause].alone
        said = self.asked.says(cause, places[:, None], cause, there[None, :])
        given = np.log(one.weights) + np.logaddexp.reduce(said, axis=1)
        order = np.argsort(one.sizes)
        return one.sizes[order], np.exp(given - np.logaddexp.reduce(given))[order]


def found(asked: Asked) -> Found:
    """Weigh every course."""
    likelihood: dict[str, dict[Outcome, float]] = {}
    others: dict[str, dict[str, float]] = {}
    for cause, one in asked.before.items():
        places, weight = np.arange(one.sizes.size), np.log(one.weights)
        said: dict[Outcome, float] = {}
        clean = asked.says(cause, places, NONE, np.zeros(one.sizes.size, dtype=np.intp))
        if cause == NONE:
            said["nothing before"] = float(clean[0])
        else:
            said["fixed"] = float(np.logaddexp.reduce(clean + weight))
            said["same"] = float(np.logaddexp.reduce(asked.says(cause, places, cause, places) + weight))
            said["partly"] = _partly(asked, cause)
        others[cause] = {}
        for other, grid in asked.after.items():
            if other in (NONE, cause):
                continue
            each = asked.says(cause, places[:, None], other, grid.others[None, :])
            weighed = each + weight[:, None] + grid.log_prior[None, :]
            others[cause][other] = float(np.logaddexp.reduce(weighed.ravel()))
        said["something else"] = float(np.logaddexp.reduce(list(others[cause].values())))
        likelihood[cause] = said
    return Found(asked, likelihood, others)


def _partly(asked: Asked, cause: str) -> float:
    """What remains is still of a size that somebody notices; less counts as gone."""
    one, noticed = asked.before[cause], asked.after[cause].noticed
    whole = float(np.sum(noticed * one.weights))
    if whole <= 0.0:
        return -np.inf
    count = one.sizes.size
    places = np.broadcast_to(np.arange(count), noticed.shape)
    there = count + np.arange(noticed.size).reshape(noticed.shape)
    said = asked.says(cause, places, cause, there) + np.log(one.weights)
    return float(np.logaddexp.reduce(np.where(noticed, said, -np.inf).ravel()) - np.log(whole))
