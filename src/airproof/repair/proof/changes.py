"""What changed: the size of what was mended, and every check that both sides show, each with a 90 % interval.

The interval of a change is that of the two sides as one Gaussian: what both share of the engine drops out, each day's
noise and straying stay in (docs/proof.md, section 2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.checks import engine_off, relations
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.finding import Finding
from airproof.engine.air_path import RELATIONS
from airproof.knowledge.model import Cause
from airproof.repair.proof.by_engine_off import DAY_SD
from airproof.repair.proof.by_relation import slices_of_both
from airproof.repair.proof.courses import Found
from airproof.repair.proof.levels import levels_of
from airproof.repair.proof.proof import Amount, Change
from airproof.repair.proof.sides import Sides
from airproof.repair.proof.words import amount_in_words, in_small, with_sign

Floats = NDArray[np.float64]

NINETY = 1.645  # standard deviations either side of the mean that hold 90 % of a Gaussian
FLAT_TO_NOTHING = 0.5
"""A size of one sign whose least is half as probable as its likeliest or more may as well be nothing."""
MOVED = 1.96  # standard deviations from which a change is more than noise and weather: 95 %

TITLES = {
    "air-flow": "air flow against what pressure and speed give",
    "throttle-flow": "air flow against what the throttle lets through",
    "fuel": "fuel against what the air asks for",
    "trim": "mixture without its correction",
    "charge-at-rest": "charge pressure against the barometer",
    "key-on-baro": "manifold pressure against the day",
    "key-on-charge": "charge pressure against the day",
    "barometer": "the car's own barometer against the day",
    "idle-baro": "manifold pressure against the day",
    "idle-charge": "charge pressure against the day",
    "full-load-baro": "manifold pressure against the barometer",
    "full-load-charge": "manifold against charge pressure",
    "boost-error": "boost against its target",
    "boost-reached": "boost against the rated value",
    "exhaust-back-pressure": "exhaust back pressure",
    "response": "answer of the pressure to the throttle",
    "air-temperature": "intake air against the air outside",
    "cold-agreement": "intake air against coolant after a soak",
    "overrun-floor": "manifold pressure against the barometer",
    "idle-pressure": "manifold pressure against the barometer",
    "idle-speed": "idle speed",
    "idle-unsteadiness": "unsteadiness of the idle speed",
    "idle-pressure-noise": "unsteadiness of the pressure",
}
PLACES = {
    "key-on-baro": "engine off", "key-on-charge": "engine off", "barometer": "", "full-load-baro": "full load",
    "full-load-charge": "on boost", "boost-error": "on boost", "boost-reached": "full load",
    "exhaust-back-pressure": "full load", "response": "", "air-temperature": "driving",
    "cold-agreement": "after a soak", "overrun-floor": "overrun",
    "idle-pressure": "idle", "idle-speed": "idle", "idle-unsteadiness": "idle",
    "idle-pressure-noise": "idle",
}  # fmt: skip


@dataclass(frozen=True)
class _Pair:
    """One finding on both sides; `sd` is that of the change."""

    before: Finding
    after: Finding
    sd: float


def size_change(found: Found, cause: Cause) -> Change | None:
    """The size of the cause before and after, by both sides together; None where it has none that can be told."""
    if not found.asked.sized(cause.id):
        return None
    sizes, chance = found.size_before(cause.id)
    before = _amount(sizes, chance)
    sizes_after, chance_after = found.size_after(cause.id)
    after = _amount(sizes_after, chance_after)
    signed = cause.size is not None and cause.size.signed
    half = NINETY * float(np.hypot(_sd(sizes, chance), _sd(sizes_after, chance_after)))
    middle = after.value - before.value
    change = Amount(middle, middle - half, middle + half)
    if not signed and chance_after[0] >= FLAT_TO_NOTHING * chance_after.max():
        after = Amount(after.value, None, after.high)
    return Change(
        id=f"size {cause.id}",
        title=cause.title,
        unit=cause.unit,
        before=before,
        after=after,
        change=change,
        healthy=None,
        place="",
        moved=bool(abs(middle) > half * MOVED / NINETY),
        says=f"{in_small(cause.title)}: {amount_in_words(before, cause.unit, signed)} before, "
        f"{amount_in_words(after, cause.unit, signed)} after",
    )


def _sd(values: Floats, chance: Floats) -> float:
    return float(np.sqrt(np.sum(chance * np.square(values - np.sum(chance * values)))))


def _amount(sizes: Floats, chance: Floats) -> Amount:
    """Median and 90 % interval of a size; between two signs there may be nothing, and that is the point."""
    edges = np.concatenate([[sizes[0]], (sizes[1:] + sizes[:-1]) / 2.0, [sizes[-1]]])
    cumulative = np.concatenate([[0.0], np.cumsum(chance)])
    low, value, high = np.interp([0.05, 0.5, 0.95], cumulative, edges)
    return Amount(float(value), float(low), float(high))


def finding_changes(sides: Sides) -> list[Change]:
    """Every check that both sides show, those that moved most first."""
    pairs = [*_of_relations(sides), *_of_levels(sides), *_of_engine_off(sides)]
    pairs.sort(key=lambda one: -abs(one.after.value - one.before.value) / one.sd)
    return [_change(one) for one in pairs]


def _change(pair: _Pair) -> Change:
    before, after = pair.before, pair.after
    middle = after.value - before.value
    kind = next((name for name in TITLES if after.id == name), None) or next(
        name for name in sorted(TITLES, key=len, reverse=True) if after.id.startswith(f"{name}-")
    )
    place = PLACES.get(after.id, after.id.removeprefix(f"{kind}-").replace("-", " "))
    title = TITLES[kind]
    where = f" ({place})" if place else ""
    half = NINETY * pair.sd
    return Change(
        id=after.id,
        title=title,
        unit=after.unit,
        before=_measured(before),
        after=_measured(after),
        change=Amount(middle, middle - half, middle + half),
        healthy=after.expected,
        place=place,
        moved=bool(abs(middle) > MOVED * pair.sd),
        says=f"{title}{where}: {with_sign(before.value, pair.sd)} {before.unit} before, "
        f"{with_sign(after.value, pair.sd)} {after.unit} after",
    )


def _measured(finding: Finding) -> Amount:
    half = NINETY * finding.sd
    return Amount(finding.value, finding.value - half, finding.value + half)


def _of_relations(sides: Sides) -> list[_Pair]:
    found = []
    seen = np.zeros(1)
    for relation in RELATIONS:
        first, second = slices_of_both(sides, relation)
        if not first or not second:
            continue
        before = relations.grouped(sides.before, relation, first)
        after = relations.grouped(sides.after, relation, second)
        off = [one.off({"none": seen})["none"][0] for one in (before, after)]
        across = before.weights @ sides.belief.covariance @ after.weights.T
        for i, one in enumerate(first):
            for j, other in enumerate(second):
                if one.place != other.place:
                    continue
                variance = before.covariance[i, i] + after.covariance[j, j] - 2.0 * across[i, j]
                there, here = _at(before, i, off[0]), _at(after, j, off[1])
                # The findings are in percent: a logarithm near the middle of both is worth so much of it.
                percent = 100.0 * np.exp(0.5 * (off[0][i] + off[1][j]))
                found.append(_Pair(there, here, float(percent * np.sqrt(max(variance, 1e-8)))))
    return found


def _at(group: relations.LoadGroup, k: int, off: Floats) -> Finding:
    band = float(np.sqrt(group.covariance[k, k]))
    return relations.finding_of(group.slices[k], float(off[k]), float(group.scatter[k]), band)


def _of_levels(sides: Sides) -> list[_Pair]:
    found = []
    for level in levels_of(sides.after.profile):
        first, second = level.testify(sides.before), level.testify(sides.after)
        if not first or not second:
            continue
        before, after = first[0].finding, second[0].finding
        healthy = expected(level.expectation)
        day = healthy.day_sd if level.repeats else healthy.sd
        found.append(_Pair(before, after, float(np.sqrt(2.0 * day**2 + before.sd**2 + after.sd**2))))
    return found


def _of_engine_off(sides: Sides) -> list[_Pair]:
    first, second = engine_off.seen_engine_off(sides.before), engine_off.seen_engine_off(sides.after)
    if first is None or second is None:
        return []
    found = []
    for i, signal in enumerate(first.signals):
        for j, other in enumerate(second.signals):
            if signal != other:
                continue
            before, after = first.findings[i], second.findings[j]
            days = sides.before.weather.sd_kpa**2 + sides.after.weather.sd_kpa**2
            own = expected(DAY_SD[signal]).day_sd ** 2 + (2.0 * first.tolerances[i] ** 2 if sides.replaced else 0.0)
            found.append(_Pair(before, after, float(np.sqrt(days + own + before.sd**2 + after.sd**2))))
    return found
