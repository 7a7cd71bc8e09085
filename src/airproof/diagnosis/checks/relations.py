"""Air flow against pressure and speed, throttle flow, fuel against air, and trims: by load.

The pattern over load tells a leak (large at idle, gone at load) from a wrong air flow sensor (flat) and from a wrong
pressure sensor. Each relation is summed up at a few loads; all of them share the engine's unknowns and form one group.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.lying_sensors import undone
from airproof.diagnosis.testimony import Blur, Testimony, group, log_t
from airproof.engine.air_path import (
    CHARGE_AT_REST,
    FUEL_AGAINST_AIR,
    RELATIONS,
    TRIMS,
    OnePath,
    Relation,
)
from airproof.engine.shared import shared
from airproof.recording.recording import Interval
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Manifold pressure over the barometer; idle is taken out first.
_LOADS: tuple[tuple[str, str, float, float], ...] = (
    ("light-load", "at light load", 0.0, 0.40),
    ("part-load", "at part load", 0.40, 0.65),
    ("high-load", "at high load", 0.65, 0.92),
    ("open-throttle", "with the throttle nearly open", 0.92, 1.06),
    ("on-boost", "on boost", 1.06, 9.0),
)
PREFIXES = tuple(f"{relation.id}-" for relation in RELATIONS)
"""How the ids of this check's findings begin."""

FEWEST_POINTS = 3
POINTS_OF_BOTH = 16  # of each load that are asked when two causes are undone together
HIGHEST_BAROMETER_KPA = 106.0  # the highest ever, reduced to sea level, was 108.5; where people drive it is less
TRIMS_UNANSWERED = 0.15  # judged: Airproof authors
LYING_SENSORS = ("map-offset", "map-gain", "supply-reference", "iat-offset")
RICHEST, LEANEST = (
    0.6,
    1.5,
)  # lambda of mixtures that spark-ignition engines run on; from memory of textbook ranges
MODEL_FLOOR = 0.006
"""What a relation may be off at one load by itself, however many points; judged: Airproof authors."""

# Causes that disturb these relations without a computable size; further sd of a logarithm. judged: Airproof authors:
# a frozen, lost or chattering pressure signal may be anything; misfire lets unburnt oxygen past the sensor.
BLUR: dict[str, dict[str, Blur]] = {
    "charge-at-rest": {"control-unit": 0.05},
    "air-flow": {"map-stuck": 0.6, "map-circuit": 0.8, "control-unit": 0.25, "boost-leak": (0.02, 0.01)},
    "throttle-flow": {"map-stuck": 0.4, "map-circuit": 0.6, "control-unit": 0.2, "boost-leak": (0.02, 0.01)},
    "fuel": {"ignition": (0.06, 0.02), "control-unit": 0.25, "boost-leak": (0.02, 0.01)},
    "trim": {
        "ignition": (0.07, 0.02),  # about alike at all loads
        "control-unit": 0.15,
        "map-stuck": 0.15,
        "map-circuit": 0.2,
        "boost-leak": (0.02, 0.01),
    },
}


@dataclass(frozen=True)
class LoadSlice:
    """One relation at one load."""

    relation: Relation
    place: str
    words: str
    path: OnePath


def check(case: Case) -> Sequence[Testimony]:
    """Testimonies of every relation at every load that the recording visits."""
    testimonies: list[Testimony] = []
    for relation in RELATIONS:
        slices = slices_of(case, relation)
        if slices:
            testimonies.extend(_judge(case, relation, slices))
    return testimonies


def slices_of(case: Case, relation: Relation, *, compared: bool = False) -> list[LoadSlice]:
    """The loads at which the relation can be asked of this recording; `compared`: it is held against another of the
    same car, so that what is logged need not be what its unit says.
    """
    usable = asked_of(case, relation, compared=compared)
    load = case.points.manifold / case.barometer_pa
    idle = case.points.regime == Regime.IDLE.value
    chosen: list[tuple[str, str, Bools]] = [("idle", "at idle", usable & idle)]
    chosen += [(place, words, usable & ~idle & (load >= low) & (load < high)) for place, words, low, high in _LOADS]
    return [
        LoadSlice(relation, place, words, _only(case.path, mask))
        for place, words, mask in chosen
        if np.count_nonzero(mask) >= FEWEST_POINTS
    ]


def asked_of(case: Case, relation: Relation, *, compared: bool = False) -> Bools:
    """The points at which the relation can be asked; none where only another recording of the car could say what its
    fuel rate means, and there is none (`compared`: there is).
    """
    usable = relation.usable(case.path)
    if relation is FUEL_AGAINST_AIR and not (compared or case.baselines or burnable(case.path, usable)):
        return np.zeros_like(usable)
    return usable


def burnable(path: OnePath, usable: Bools) -> bool:
    """Whether fuel and air flow make a mixture that can burn at most points.

    If not, the logged fuel rate is in another unit or means something else, and only a known-good recording of the same
    car can say what to expect of it.
    """
    lambda_ = path.points.air_flow[usable] / (path.points.fuel_rate[usable] * path.profile.stoichiometric)
    return bool(lambda_.size and np.mean((lambda_ > RICHEST) & (lambda_ < LEANEST)) > 0.75)


def _only(path: OnePath, mask: Bools) -> OnePath:
    return path.only(mask)


@dataclass(frozen=True)
class LoadGroup:
    """The slices (k) of one relation with the weights of their points, scatter (k,) and covariance (k, k); `weights`
    (k, K) say how far each moves with each unknown of the engine.
    """

    relation: Relation
    slices: list[LoadSlice]
    trust: list[Floats]
    weights: Floats
    scatter: Floats
    covariance: Floats

    def off(self, sizes: Mapping[str, Floats]) -> dict[str, Floats]:
        """How far each slice lies from a healthy engine if a cause with each of its sizes (S,) is undone: (S, k)."""
        found = {}
        for cause, these in sizes.items():
            columns = []
            for one, trust in zip(self.slices, self.trust, strict=True):
                residual = self.relation.residual(one.path, one.path.without(cause, these))
                columns.append(np.broadcast_to(residual @ trust, these.shape))
            found[cause] = np.column_stack(columns)
        return found


def grouped(case: Case, relation: Relation, slices: list[LoadSlice]) -> LoadGroup:
    """The slices of one relation with what they share."""
    trust = [_trust(one) for one in slices]
    weights = np.array([t @ relation.weights(one.path) for t, one in zip(trust, slices, strict=True)])
    scatter = np.array([_scatter(one, t) for one, t in zip(slices, trust, strict=True)])
    covariance = weights @ case.path.belief.covariance @ weights.T + np.diag(np.square(scatter))
    return LoadGroup(relation, slices, trust, weights, scatter, covariance)


def both(case: Case, first: tuple[str, Floats], second: tuple[str, Floats]) -> Floats:
    """ln likelihood (S,) of all relations if two causes acted at once, each with its sizes (S,).

    A few points of each load stand for all: it is their mean that counts.
    """
    total = np.zeros(first[1].size)
    for relation in RELATIONS:
        slices = slices_of(case, relation)
        if not slices:
            continue
        these = grouped(case, relation, slices)
        off = np.empty((first[1].size, len(slices)))
        for k, one in enumerate(slices):
            few = _few(one)
            change = relation.residual(few.path, few.path.without_both(first, second))
            change = change - relation.residual(few.path, few.path.seen)
            seen = relation.residual(one.path, one.path.seen) @ these.trust[k]
            off[:, k] = seen + np.broadcast_to(change @ _trust(few), first[1].shape)
        blur = [BLUR[relation.id].get(cause, 0.0) for cause, _ in (first, second)]
        wider = max(blur, key=lambda b: b if isinstance(b, float) else b[0])
        findings = [finding_of(one, 0.0, 0.0, 1.0) for one in slices]
        told = group(findings, {"both": off}, these.covariance, {"both": wider})
        total += np.sum([testimony.log_likelihood["both"] for testimony in told], axis=0)
    return total


def _few(one: LoadSlice) -> LoadSlice:
    count = len(one.path.points)
    if count <= POINTS_OF_BOTH:
        return one
    chosen = np.zeros(count, dtype=bool)
    chosen[np.linspace(0, count - 1, POINTS_OF_BOTH).round().astype(int)] = True
    return replace(one, path=one.path.only(chosen))


def _judge(case: Case, relation: Relation, slices: list[LoadSlice]) -> list[Testimony]:
    these = grouped(case, relation, slices)
    scatter, covariance = these.scatter, these.covariance
    off = these.off(case.sizes)
    findings = [
        finding_of(one, float(off["none"][0, k]), float(scatter[k]), float(np.sqrt(covariance[k, k])))
        for k, one in enumerate(slices)
    ]
    return group(findings, off, covariance, BLUR[relation.id], otherwise(case, relation, off))


def otherwise(case: Case, relation: Relation, off: dict[str, Floats]) -> dict[str, tuple[Floats, Floats]]:
    """What else may be so under a lying sensor, with its probability, for all loads at once.

    Trims may not answer it: the unit has more to go by than the profile says, or limits its learning. And the
    barometric reading may copy the manifold sensor: then it lies alike, and the charge pressure beside it looks wrong.
    """
    lies = [cause for cause in LYING_SENSORS if cause in off]
    if relation is TRIMS:
        as_seen = off["none"]
        return {c: (np.full(len(off[c]), TRIMS_UNANSWERED), np.broadcast_to(as_seen, off[c].shape)) for c in lies}
    if relation is not CHARGE_AT_REST:
        return {}
    found = {}
    seen = case.barometer.kpa
    for cause in lies:
        true = np.maximum(undone("manifold_pressure", seen, cause, case.sizes[cause]), 1.0)
        copied = expected("barometer-copied").mean * np.exp(log_t((true - case.weather.kpa) / case.weather.sd_kpa))
        copied[true > HIGHEST_BAROMETER_KPA] = 1e-6
        found[cause] = (copied, off[cause] + np.log(seen / true)[:, None])
    return found


def _trust(one: LoadSlice) -> Floats:
    """Weights of the points in the mean, summing to 1: far-off points count less (Huber around the median)."""
    residual = one.relation.residual(one.path, one.path.seen)
    sd = one.relation.sd(one.path)
    spread = np.maximum(sd, 1.4826 * np.median(np.abs(residual - np.median(residual))))
    trust = np.minimum(1.0, 1.5 / np.maximum(np.abs(residual - np.median(residual)) / spread, 1e-9)) / np.square(sd)
    return np.asarray(trust / trust.sum())


def _scatter(one: LoadSlice, trust: Floats) -> float:
    residual = one.relation.residual(one.path, one.path.seen)
    middle = float(residual @ trust)
    seen = float(np.sqrt(np.square(residual - middle) @ trust))
    expected = float(np.sqrt(np.square(one.relation.sd(one.path)) @ trust))
    independent = max(1.0 / float(np.sum(np.square(trust))) / shared().points_that_repeat, 1.0)
    return float(np.hypot(max(seen, expected) / np.sqrt(independent), MODEL_FLOOR))


_SAYS = {
    "air-flow": "measured air flow is {much} what pressure, temperature and speed give {where}",
    "throttle-flow": "air flow is {much} what the throttle opening lets through {where}",
    "fuel": "fuel is {much} what the measured air flow asks for {where}",
    "trim": "without its correction the mixture would be {mixture} {where}",
    "charge-at-rest": "charge pressure is {much} the barometer {where}, where nothing compresses",
}


def finding_of(one: LoadSlice, off: float, sd: float, band: float) -> Finding:
    """The finding of one slice: `off` +- `sd` as a logarithm, and the sd of that on a healthy engine."""
    percent = 100.0 * np.expm1(off)
    size = f"{abs(percent):.0f}"
    much = f"{size} % {'above' if percent > 0 else 'below'}" if size != "0" else "level with"
    mixture = f"{size} % too {'lean' if percent > 0 else 'rich'}" if size != "0" else "right within 1 %"
    low, high = float(100.0 * np.expm1(-1.645 * band)), float(100.0 * np.expm1(1.645 * band))
    digits = 0 if min(abs(low), abs(high)) >= 0.5 else 1  # no band is from nothing to nothing
    healthy = f"{low:.{digits}f} to {high:+.{digits}f} %"
    if one.relation is TRIMS:
        healthy = f"{abs(low):.{digits}f} % rich to {high:.{digits}f} % lean"
    says = _SAYS[one.relation.id].format(much=much, mixture=mixture, where=one.words)
    return Finding(
        id=f"{one.relation.id}-{one.place}",
        value=float(percent),
        sd=float(100.0 * sd),
        unit="%",
        expected=(low, high),
        intervals=merged(one.path.points.start_s, one.path.points.end_s),
        says=f"{says} ({len(one.path.points)} steady points; healthy: {healthy})",
    )


def merged(starts: Floats, ends: Floats) -> tuple[Interval, ...]:
    """Touching intervals joined."""
    joined: list[Interval] = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        if joined and start - joined[-1][1] < 1e-6:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return tuple(joined)
