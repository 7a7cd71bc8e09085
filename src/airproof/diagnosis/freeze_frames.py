"""Freeze frames: what one moment tells, weighed with the same physics as a recording.

A frame is a recording of one moment. The relations of the air path are asked of it as of an operating point, with a
further uncertainty, since nobody knows that the engine stood still (data/freeze_frames.toml). With a recording beside
it, what is unknown of the engine is shared: the frame is judged given the recorded points nearest to it. A frame taken
with the engine off is judged as such, where nothing else tells what its sensors read then.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from itertools import product

import numpy as np
import tomli
from numpy.typing import NDArray

from airproof.diagnosis.case import Case, points_of
from airproof.diagnosis.checks import engine_off, relations
from airproof.diagnosis.facts import FreezeFrame
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony, group
from airproof.engine.air_path import AIR_THROUGH_THROTTLE, RELATIONS, TRIMS, OnePath, Relation
from airproof.errors import BrokenKnowledge
from airproof.knowledge.model import Knowledge
from airproof.recording.recording import Recording, Signal
from airproof.recording.regimes import Regime, find_regimes
from airproof.recording.signals import glossary

Floats = NDArray[np.float64]

HELD_S = 3.0  # a frame is laid out as if its moment had lasted so long, which is what a steady point takes
MOST_FRAMES = 4  # each of which may have been moving; their patterns grow as powers of two
NEAREST = 12  # recorded points that stand for what the recording tells of the engine near the frame
LN_LOAD, LN_SPEED = 0.35, 0.35
"""Distances in ln pressure and ln speed that count as one; judged: Airproof authors, as far as an engine's tables
reach (engine/data/healthy_engines.toml)."""
AT_REST_KM_H = 3.0  # a car that rolls faster may have an engine that was turning a moment ago; judged: Airproof authors
FULL = 0.85  # of the barometer: above it the mixture may be enriched, and only the car can say that its loop is closed

BREAKS, BROKEN, BROKEN_THEN = "map-intermittent", "map-circuit", 0.5
"""How probably a contact that breaks now and then was broken when a code was stored; judged: Airproof authors: nearly
always for a code of its own signal, seldom for another's."""
USUAL = 0.05  # of healthy moments deviate so far that it begins to show; judged: Airproof authors

_WORDS = {
    "air-flow": "the air flow is {} what pressure and speed give",
    "throttle-flow": "the air flow is {} what the throttle lets through",
    "fuel": "the fuel is {} what the air takes",
    "trim": "the trims add up to {} what the mixture should need",
    "charge-at-rest": "the charge pressure is {} the barometer at light load",
}


@dataclass(frozen=True)
class Shown:
    """What the frames tell, and how far each code's frame shows by itself what the code claims, 0 to 1."""

    testimonies: tuple[Testimony, ...]
    shown: Mapping[str, float]


def from_frames(
    case: Case, frames: Sequence[FreezeFrame], knowledge: Knowledge, by_meter: Collection[str] = ()
) -> Shown:
    """One testimony for each frame of which anything can be judged.

    `case` is that of the recording, which may be empty: it gives the engine, the day and the hypotheses. `by_meter`:
    signals that a meter has told of with the engine off.
    """
    testimonies: list[Testimony] = []
    shown: dict[str, float] = {}
    taken = {signal for signal in engine_off.FINDINGS if signal in by_meter or _known_elsewhere(case, signal)}
    laid_out = [(frame, _case_of(case, frame)) for frame in frames]
    parts: dict[int, list[_Part]] = {k: [] for k in range(len(frames))}
    for relation in RELATIONS:
        for k, part in _related(case, relation, [one for _, one in laid_out]):
            parts[k].append(part)
    for k, (frame, own) in enumerate(laid_out):
        parts[k] += _engine_off(own, taken)
        if parts[k]:
            testimonies.append(_one(frame, parts[k]))
        telling = [part.z for part in parts[k] if part.relation in _shown_by(frame.code, knowledge)]
        if telling:
            shown[frame.code] = max(shown.get(frame.code, 0.0), _how_odd(telling))
    return Shown(tuple(testimonies), shown)


def _shown_by(code: str, knowledge: Knowledge) -> tuple[str, ...]:
    """Relations by which a frame shows what its code claims; no value shows a voltage out of range."""
    entry = knowledge.codes.get(code)
    return () if entry is None or entry.by_voltage else knowledge.families[entry.family].shown_by


@dataclass(frozen=True)
class _Part:
    """What one relation, or one sensor with the engine off, says of a frame; `z`: standard deviations off healthy."""

    relation: str
    testimony: Testimony
    z: float
    sd: float


def _known_elsewhere(case: Case, signal: str) -> bool:
    if signal == "barometric_pressure":
        return signal in case.recording or signal in case.engine_off_kpa
    return signal in case.engine_off_kpa or bool(case.in_regime(signal, Regime.KEY_ON).size)


def _case_of(case: Case, frame: FreezeFrame) -> Case:
    recording = _laid_out(frame)
    regimes = find_regimes(recording, idle_rpm=case.profile.idle_rpm)
    points = points_of(recording, regimes, case.profile)
    if "fuel_system_status" not in recording:
        with np.errstate(invalid="ignore"):
            rich = ~(points.manifold < FULL * case.barometer_pa)
        points = replace(points, closed_loop=points.closed_loop & ~rich)
    path = replace(case.path, points=points)
    return replace(case, recording=recording, regimes=regimes, path=path, baselines=(), engine_off_kpa={})


def _laid_out(frame: FreezeFrame) -> Recording:
    time = np.arange(HELD_S + 1.0)
    signals = glossary().signals
    return Recording(
        {
            name: Signal(name, signals[name].unit, time, np.full(time.size, value))
            for name, value in frame.values.items()
        },
        label=f"freeze frame of {frame.code}",
    )


# The relations at one moment


def _related(case: Case, relation: Relation, frames: Sequence[Case]) -> list[tuple[int, _Part]]:
    """What a relation says of each frame that it can be asked of, given the recording and the frames before."""
    if relation is AIR_THROUGH_THROTTLE and not len(case.points) and not case.baselines:
        return []  # what the throttle reads when it is shut is only known from a recording
    own = {k: path for k, one in enumerate(frames) if (path := _usable(relation, one)) is not None}
    if not own:
        return []
    near = [path for one in own.values() if (path := _nearest(case, relation, one)) is not None]
    paths = [*near, *own.values()]
    weights = np.array([relation.weights(path).mean(axis=0) for path in paths])
    scatter = np.array([np.mean(np.square(relation.sd(path))) for path in paths])
    steady = weights @ case.path.belief.covariance @ weights.T + np.diag(scatter)
    off = {
        cause: np.column_stack([_residual(relation, path, cause, sizes) for path in paths])
        for cause, sizes in case.sizes.items()
    }
    rows = _still_or_moving(relation, off, steady, len(near))
    moved = steady + np.diag([0.0] * len(near) + [moment(relation.id).sd_of_both ** 2] * len(own))
    z = np.linalg.solve(np.linalg.cholesky(moved), off["none"][0])
    parts = []
    for place, k in enumerate(own):
        row = len(near) + place
        value, sd = float(off["none"][0, row]), float(np.sqrt(moved[row, row]))
        says = _says(relation, value)
        finding = Finding(relation.id, 100.0 * math.expm1(value), 100.0 * sd, "%", (0.0, 0.0), (), says)
        told = Testimony(finding, {cause: row_of[:, place] for cause, row_of in rows.items()})
        parts.append((k, _Part(relation.id, told, float(z[row]), 100.0 * sd)))
    return parts


def _usable(relation: Relation, frame: Case) -> OnePath | None:
    if not len(frame.points):
        return None
    usable = relation.usable(frame.path)
    return frame.path.only(usable) if usable.any() else None


def _still_or_moving(relation: Relation, off: dict[str, Floats], steady: Floats, near: int) -> dict[str, Floats]:
    """ln likelihood of each frame given those before it, (S_c, frames): each of them was still, or was moving.

    `near` deviations of the recording stand first; a frame beyond MOST_FRAMES counts as one that moved.
    """
    one = moment(relation.id)
    count = steady.shape[0] - near
    findings = [Finding(relation.id, 0.0, 0.0, "%", (0.0, 0.0), (), "") for _ in range(near + count)]
    blur = relations.BLUR[relation.id]  # what disturbs a relation does so at one moment as well
    sums: dict[str, list[Floats]] = {cause: [] for cause in off}
    for moving in product((False, True), repeat=min(count, MOST_FRAMES)):
        pattern = [*moving, *([True] * (count - len(moving)))]
        variance = [(one.moving_sd if moves else one.moment_sd) ** 2 for moves in pattern]
        told = group(findings, off, steady + np.diag([0.0] * near + variance), blur, _unanswered(relation, off))
        weight = sum(math.log(one.moving if moves else 1.0 - one.moving) for moves in moving)
        for cause in off:
            each = np.column_stack([testimony.log_likelihood[cause] for testimony in told[near:]])
            sums[cause].append(weight + np.cumsum(each, axis=1))
    # The weights of the patterns belong to the frames together: each frame has what it adds to those before it.
    return {cause: np.diff(np.logaddexp.reduce(patterns), axis=1, prepend=0.0) for cause, patterns in sums.items()}


def _unanswered(relation: Relation, off: Mapping[str, Floats]) -> dict[str, tuple[Floats, Floats]]:
    """Trims that did not answer a lying sensor, with the probability of it, as for a recording."""
    if relation is not TRIMS:
        return {}
    share, lies = relations.TRIMS_UNANSWERED, [c for c in relations.LYING_SENSORS if c in off]
    return {c: (np.full(len(off[c]), share), np.broadcast_to(off["none"], off[c].shape)) for c in lies}


def _nearest(case: Case, relation: Relation, frame: OnePath) -> OnePath | None:
    """The recorded points nearest to the frame in load and speed, of which the relation can be asked."""
    if not len(case.points):
        return None
    usable = relation.usable(case.path)
    if not usable.any():
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        load = np.log(case.points.manifold / frame.points.manifold[0]) / LN_LOAD
        speed = np.log(case.points.speed / frame.points.speed[0]) / LN_SPEED
    distance = np.where(usable, np.square(load) + np.square(speed), np.inf)
    chosen = np.zeros(len(case.points), dtype=bool)
    chosen[np.argsort(distance, kind="stable")[: min(NEAREST, int(usable.sum()))]] = True
    return case.path.only(chosen)


def _residual(relation: Relation, path: OnePath, cause: str, sizes: Floats) -> Floats:
    residual = relation.residual(path, path.without(cause, sizes))
    return np.asarray(np.broadcast_to(residual.mean(axis=-1), sizes.shape))


def _says(relation: Relation, ln: float) -> str:
    percent = 100.0 * math.expm1(ln)
    return _WORDS[relation.id].format(f"{abs(percent):.0f} % {'above' if percent > 0 else 'below'}")


# With the engine off


def _engine_off(own: Case, taken: set[str]) -> list[_Part]:
    rolling = own.recording.get("vehicle_speed")
    at_rest = rolling is None or float(rolling.values.max()) <= AT_REST_KM_H  # an engine that just stalled still draws
    standing = at_rest and own.in_regime("manifold_pressure", Regime.KEY_ON).size > 0
    parts = []
    for testimony in engine_off.check(_without(own, taken)):
        signal = next((name for name, finding in engine_off.FINDINGS.items() if finding == testimony.finding.id), None)
        if signal is None or (not standing and signal != "barometric_pressure"):
            continue  # one moment of idle is no idle
        taken.add(signal)
        band = testimony.finding.expected[1] / 1.645
        parts.append(_Part("engine-off", testimony, testimony.finding.value / band, band))
    return parts


def _without(own: Case, taken: set[str]) -> Case:
    left = {name: signal for name, signal in own.recording.signals.items() if name not in taken}
    return replace(own, recording=replace(own.recording, signals=left))


# One frame


def _one(frame: FreezeFrame, parts: Sequence[_Part]) -> Testimony:
    """The frame as one testimony: the sum of what its parts say, in the words of the oddest.

    A contact that breaks now and then may have been broken at that very moment: then it is as if it were so for good.
    """
    rows = {
        cause: np.sum([part.testimony.log_likelihood[cause] for part in parts], axis=0)
        for cause in parts[0].testimony.log_likelihood
    }
    if {BREAKS, BROKEN} <= set(rows):
        whole, broken = np.log1p(-BROKEN_THEN) + rows[BREAKS], np.log(BROKEN_THEN) + rows[BROKEN].max()
        rows[BREAKS] = np.logaddexp(whole, broken)
    oddest = max(parts, key=lambda part: abs(part.z))
    told = oddest.testimony.finding
    return Testimony(
        Finding(
            f"freeze frame {frame.code}",
            told.value,
            oddest.sd,
            told.unit,
            (-1.645 * oddest.sd, 1.645 * oddest.sd),
            (),
            f"in the freeze frame of {frame.code}, {told.says}",
        ),
        rows,
    )


def _how_odd(z: Sequence[float]) -> float:
    """How far a frame shows by itself what no healthy engine shows, 0 to 1: 0 where one in twenty deviates as much."""
    worst = max(abs(one) for one in z)
    as_much = 1.0 - math.erf(worst / math.sqrt(2.0)) ** len(z)
    return max(1.0 - as_much / USUAL, 0.0)


@dataclass(frozen=True)
class Moment:
    """What one moment tells less than a steady stretch: further standard deviation, ln, where the engine stood still in
    it, and where it was changing its load; `moving` is the probability of that.
    """

    moment_sd: float
    moving_sd: float
    moving: float

    @property
    def sd_of_both(self) -> float:
        """Standard deviation, ln, of the mixture of the two."""
        return math.sqrt((1.0 - self.moving) * self.moment_sd**2 + self.moving * self.moving_sd**2)


@cache
def _moments() -> dict[str, Moment]:
    text = (resources.files("airproof.diagnosis") / "data" / "freeze_frames.toml").read_text(encoding="utf-8")
    found = {}
    for name, entry in tomli.loads(text).items():
        if not str(entry.pop("source", "")).strip():
            raise BrokenKnowledge(f"freeze_frames.toml, {name} has no source", "one", "This is a fault of ours.")
        try:
            found[name] = Moment(**entry)
        except TypeError as fault:
            raise BrokenKnowledge(
                f"freeze_frames.toml, {name}: {fault}", "numbers", "This is a fault of ours."
            ) from fault
    return found


def moment(relation: str) -> Moment:
    """What one moment tells less of that relation."""
    return _moments()[relation]
