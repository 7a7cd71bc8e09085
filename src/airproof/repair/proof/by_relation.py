"""The relations of the air path on both sides, at all loads of each.

Where the air is not measured, what passed the throttle is the air by density less what leaked. With a large leak that
is a small difference of large flows: an error of the air by density is then so many times as large in it, on the side
where the leak is. The covariance follows (`Sharpness`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.checks import relations
from airproof.engine.air_path import AIR_THROUGH_THROTTLE, FUEL_AGAINST_AIR, RELATIONS, OnePath, Relation
from airproof.knowledge.model import NONE
from airproof.repair.proof.joint import JointGroup, Places, Wrong
from airproof.repair.proof.sides import Sides

Floats = NDArray[np.float64]

LEAKS = ("vacuum-leak", "boost-leak")
NUDGE = 0.01  # a small change of the air, as a logarithm
MOST_TIMES = 8.0  # an error grows so many times at most: no engine runs on less than an eighth of its air
ANY_UNIT = 3.0  # sd of the logarithm by which a fuel rate in a unit of its own is off: a factor of 20
CLASSES = 10  # of the sizes of a leak after


@dataclass
class RelationWitness:
    """One relation at all loads of both sides.

    `otherwise_before[c]` and `otherwise_after[c]`: what else may be so under a lying sensor, as relations.otherwise has
    it. It is a property of the car: where it was so before, it is so after.
    """

    group: JointGroup
    alone_before: JointGroup
    otherwise_before: Mapping[str, tuple[Floats, Floats]]
    otherwise_after: Mapping[str, tuple[Floats, Floats]]

    def says(self, before: Wrong, after: Wrong) -> Floats:
        """ln p(after | before) (n,)."""
        plain = self.group.says(before, after)
        if before.cause not in self.otherwise_before and after.cause not in self.otherwise_after:
            return plain
        share, other_before = self.otherwise_before.get(before.cause, (None, None))
        own_share, other_after = self.otherwise_after.get(after.cause, (None, None))
        if share is not None:
            weight = share[before.places]
        else:
            assert own_share is not None
            weight = own_share[after.places]
        usual, unusual = np.log1p(-weight), np.log(weight)
        if other_before is not None:  # the side before has told already which of the two it is
            nothing = Wrong(before.cause, np.zeros_like(before.places))
            usual = usual + self.alone_before.given(nothing, before).sum(axis=1)
            unusual = unusual + self.alone_before.given(nothing, before, off_after=other_before).sum(axis=1)
            total = np.logaddexp(usual, unusual)
            usual, unusual = usual - total, unusual - total
        instead = self.group.given(before, after, other_before, other_after).sum(axis=1)
        return np.asarray(np.logaddexp(usual + plain, unusual + instead))


def relation_witnesses(sides: Sides, likely: Mapping[str, float]) -> list[RelationWitness]:
    """Every relation that both sides can be asked for, or the side after alone; `likely` as in `witnesses`."""
    found = []
    for relation in RELATIONS:
        slices_before, slices_after = slices_of_both(sides, relation)
        if not slices_after:
            continue
        after = relations.grouped(sides.after, relation, slices_after)
        off_after = after.off(sides.after.sizes)
        none_before = {cause: np.zeros((sizes.size, 0)) for cause, sizes in sides.before.sizes.items()}
        if slices_before:
            before = relations.grouped(sides.before, relation, slices_before)
            off_before = before.off(sides.before.sizes)
            across = before.weights @ sides.belief.covariance @ after.weights.T
            first = before.covariance
        else:
            before, off_before = None, none_before
            across, first = np.zeros((0, len(slices_after))), np.zeros((0, 0))
        both = np.block([[first, across], [across.T, after.covariance]])
        if relation is FUEL_AGAINST_AIR and not _means_what_it_says(sides):
            both += ANY_UNIT**2
        places = {one.place: i for i, one in enumerate(slices_before)}
        alike = [(places[one.place], j) for j, one in enumerate(slices_after) if one.place in places]
        group = JointGroup(off_before, off_after, both, alike, relations.BLUR[relation.id])
        if relation is AIR_THROUGH_THROTTLE:
            sharp = Sharpness(sides, before, after, likely)
            concerns = frozenset(cause for cause in LEAKS if cause in sides.after.sizes)
            classes = {cause: sharp.classes(cause) for cause in concerns}
            group = replace(group, reshaped=sharp.covariance, concerns=concerns, classes=classes)
        found.append(
            RelationWitness(
                group,
                JointGroup(none_before, off_before, first, (), relations.BLUR[relation.id]),
                relations.otherwise(sides.before, relation, off_before) if slices_before else {},
                relations.otherwise(sides.after, relation, off_after),
            )
        )
    return found


def slices_of_both(sides: Sides, relation: Relation) -> tuple[list[relations.LoadSlice], list[relations.LoadSlice]]:
    """The loads of each side; a fuel rate in a unit of its own is asked only where both sides have it."""
    first = relations.slices_of(sides.before, relation, compared=True)
    second = relations.slices_of(sides.after, relation, compared=True)
    if relation is FUEL_AGAINST_AIR and not (first and second) and not _means_what_it_says(sides):
        return [], []
    return first, second


def _means_what_it_says(sides: Sides) -> bool:
    cases = (sides.before, sides.after)
    return all(relations.burnable(one.path, FUEL_AGAINST_AIR.usable(one.path)) for one in cases) or bool(
        sides.before.baselines
    )


def leaks_alone(sides: Sides) -> dict[str, Floats]:
    """ln p (S,) of throttle flow before, by itself, under leaks of each size on the grid of the side before."""
    slices = relations.slices_of(sides.before, AIR_THROUGH_THROTTLE)
    concerned = {cause: sides.before.sizes[cause] for cause in LEAKS if cause in sides.before.sizes}
    if not slices or not concerned:
        return {}
    alone = replace(sides, after=sides.before, strays_after=sides.strays_before)
    these = relations.grouped(sides.before, AIR_THROUGH_THROTTLE, slices)
    sharp = Sharpness(alone, None, these, {})
    group = JointGroup(
        {NONE: np.zeros((1, 0))},
        these.off(concerned),
        these.covariance,
        (),
        relations.BLUR[AIR_THROUGH_THROTTLE.id],
        sharp.covariance,
        frozenset(concerned),
        {cause: sharp.classes(cause) for cause in concerned},
    )
    found = {}
    for cause, sizes in concerned.items():
        nothing = Wrong(NONE, np.zeros(sizes.size, dtype=np.intp))
        found[cause] = group.says(nothing, Wrong(cause, np.arange(sizes.size)))
    return found


@dataclass(frozen=True)
class Sharpness:
    """The covariance of throttle flow under leaks: errors of the air grow as less of it passes the throttle.

    Before, a leak is taken at its likeliest size; after, at the middle of its class.
    """

    sides: Sides
    before: relations.LoadGroup | None
    after: relations.LoadGroup
    likely: Mapping[str, float]

    def classes(self, cause: str) -> Places:
        """The class of each size on the grid after."""
        middles = self._middles(cause)
        sizes = np.maximum(self.sides.after.sizes[cause], 1e-3)
        return np.asarray(np.abs(np.log(sizes[:, None] / middles[None, :])).argmin(axis=1), dtype=np.intp)

    def _middles(self, cause: str) -> Floats:
        sizes = self.sides.after.sizes[cause]
        return np.geomspace(0.02 * sizes.max(), sizes.max(), CLASSES)

    def covariance(self, before: str, after: str, kind: int) -> Floats:
        """Of all findings, those before first."""
        belief = self.sides.belief.covariance
        size = self._middles(after)[kind] if after in LEAKS else 0.0
        times = _times(self.after, after, size)
        weights = _grown(self.after, times)
        scatter = self.after.scatter * np.maximum(times, 1.0)
        second = weights @ (belief + self.sides.strays_after) @ weights.T + np.diag(np.square(scatter))
        if self.before is None:
            return np.asarray(second)
        times = _times(self.before, before, self.likely.get(before, 0.0))
        other = _grown(self.before, times)
        scatter = self.before.scatter * np.maximum(times, 1.0)
        first = other @ (belief + self.sides.strays_before) @ other.T + np.diag(np.square(scatter))
        across = other @ belief @ weights.T
        return np.asarray(np.block([[first, across], [across.T, second]]))


def _times(these: relations.LoadGroup, cause: str, size: float) -> Floats:
    """How many times as large an error of the air is in what passed the throttle, at each load (k,)."""
    if cause not in LEAKS or size <= 0.0:
        return np.ones(len(these.slices))
    return np.array(
        [_by_nudging(one.path, cause, size) @ trust for one, trust in zip(these.slices, these.trust, strict=True)]
    )


def _by_nudging(path: OnePath, cause: str, size: float) -> Floats:
    belief = path.belief
    mean = belief.mean.copy()
    mean[belief.part("efficiency")] += NUDGE
    truth = path.without(cause, np.array([size]))
    nudged = replace(truth, air_flow=truth.air_flow * np.exp(NUDGE))
    moved = AIR_THROUGH_THROTTLE.residual(path.believing(replace(belief, mean=mean)), nudged)
    times = np.ravel(moved - AIR_THROUGH_THROTTLE.residual(path, truth)) / NUDGE
    # Where next to nothing is left, the floor of a flow hides that it would grow without end.
    return np.asarray(np.where(times < 0.5, MOST_TIMES, np.clip(times, 1.0, MOST_TIMES)))


def _grown(these: relations.LoadGroup, times: Floats) -> Floats:
    """The weights (k, K) with those of the air by density so many times as large."""
    weights = these.weights.copy()
    part = these.slices[0].path.belief.part("efficiency")
    weights[:, part] *= times[:, None]
    return weights
