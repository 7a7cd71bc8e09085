"""Faults that come and go within seconds: at the same speed and load the same thing is now right, now wrong.

Over a whole drive such a fault is thinned to what a healthy engine may show, and each of its spells is too short to be
weighed by itself. What gives it away is that it switches, by one and the same amount, back and forth. So the relations
of the air path are asked window by window whether they hold better as seen or with a cause undone, joined by a chain
that switches every few seconds. The engine's unknowns are the same in all windows and are found along with it: only
what changes at like speed and load counts, and a known-good recording is hardly missed.

What a healthy engine does instead is to wander: relations hold to some percent, and what they are off by stays alike
for seconds, as a fault does. So a switching cause is held against wandering of any strength, not against mere noise.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks.relations import asked_of
from airproof.diagnosis.in_windows import (
    Seen,
    SomeSizes,
    Supposed,
    Windows,
    finer_sizes,
    foremost_of_branches,
    shares_of_sizes,
    some_sizes,
    suppose,
    together,
)
from airproof.diagnosis.testimony import TAIL, log_t
from airproof.diagnosis.two_states import TwoStates
from airproof.diagnosis.wandering import all_wandering
from airproof.engine.air_path import RELATIONS
from airproof.recording.recording import Interval

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

THERE_S, AWAY_S = 12.0, 16.0  # how long a fault that comes and goes is there, and away; judged: Airproof authors
WINDOW_S = 2.0
MOST_WINDOWS = 450  # a quarter of an hour; of longer recordings they are wider
FEWEST_WINDOWS = 20  # with fewer there is nothing that could be seen to come and go
ROUNDS, ROUNDS_SETTLING = 8, 20  # of each size, and of an engine in which nothing switches
NO_MORE = 0.1  # nepers that a round brings to a cause that has not settled
LOST = 15.0  # nepers below a healthy engine that a cause must get above within its rounds

WORTH_A_LOOK = 3.0  # nepers against mere noise from which a cause is held against wandering


@dataclass(frozen=True)
class ComesAndGoes:
    """That a cause comes and goes: ln evidence against a healthy engine that wanders, and against the cause being there
    all along or from some time on; its likeliest size (in its own unit; as another cause sees it where `AS_IF` says so)
    and when it was there (s).
    """

    nepers: float
    rather_than_lasting: float
    size: float
    there: tuple[Interval, ...]


def comes_and_goes(case: Case, causes: Collection[str] | None = None) -> dict[str, ComesAndGoes]:
    """The causes that switching explains better than noise does and better than their lasting, with what speaks for
    each; empty where none does.

    Only `causes` are asked, if they are named.
    """
    width = max(WINDOW_S, case.recording.duration_s / MOST_WINDOWS, _point_s(case))
    count = int(np.ceil(case.recording.duration_s / width))
    parts = [Windows.of(case, relation, width, count) for relation in RELATIONS if asked_of(case, relation).any()]
    if count < FEWEST_WINDOWS or not parts:
        return {}
    seen = together(parts)
    engine = _Unknowns.of(case, seen)
    healthy = engine.settled(seen.off[None, :])
    plain = float(log_t(healthy.off[0] / seen.sd).sum() - healthy.cost[0])
    chain = TwoStates.lasting(THERE_S, AWAY_S, width)
    ear = _Ear(engine, chain, seen, count, healthy.unknowns[0], plain)
    fitted = _fitted(case, parts, ear, some_sizes(case, causes))
    likely, off, moves = fitted.likely, fitted.off, fitted.likely.moves
    if not len(likely):
        return {}
    there, before = chain.likeliest(fitted.support)
    stayed, seldom = TwoStates.seldom(width).likeliest(fitted.support)
    all_along = engine.settled(seen.off + moves)
    ways = [
        (healthy.off, -healthy.cost),
        (all_along.off, -all_along.cost),
        (off + stayed[:, seen.window] * moves, seldom - fitted.cost),
        (off + there[:, seen.window] * moves, before - fitted.cost),
    ]
    wander = all_wandering(seen, np.concatenate([rows for rows, _ in ways]), width)
    wander += np.concatenate([besides for _, besides in ways])
    if_healthy, if_all_along, if_from_then_on, if_switching = np.split(wander, np.cumsum([1, *3 * [len(likely)]])[:-1])
    lasting = np.maximum(if_all_along, if_from_then_on)
    found = {}
    for cause in dict.fromkeys(likely.cause.tolist()):
        its = np.flatnonzero(likely.cause == cause)
        best = its[np.argmax(if_switching[its])]
        rather = float(if_switching[best] - lasting[its].max())
        if rather < 0.0:
            continue
        evidence = np.logaddexp.reduce(if_switching[its] - if_healthy + np.log(fitted.share[its]))
        spells = _spells(_where_seen(there[best], seen, width), case.recording.start_s, width)
        if not spells:
            continue
        found[cause] = ComesAndGoes(float(evidence), rather, float(likely.size[best]), spells)
    return found


def _point_s(case: Case) -> float:
    points = case.points
    return float(np.max(points.end_s - points.start_s)) if len(points) else 0.0


@dataclass(frozen=True)
class _Settled:
    """The engine's unknowns found (m, k), what is off then (m, n), and what they cost (m,), nepers."""

    unknowns: Floats
    off: Floats
    cost: Floats


@dataclass(frozen=True)
class _Unknowns:
    """The engine's unknowns (k): how each moves what is seen (n, k), in the standard deviations (n,) of it; the
    precision they have beforehand (k, k), the covariance they have once seen, and the step by which they are bettered.

    What is off has the tails of `log_t`. The step bounds the curvature of all that is asked of them, so that each step
    makes what is seen more probable (minorise, maximise).
    """

    weights: Floats
    sd: Floats
    prior: Floats
    known: Floats
    step: Floats

    @classmethod
    def of(cls, case: Case, seen: Seen) -> _Unknowns:
        """Those that touch what is seen."""
        touched = np.flatnonzero(np.any(seen.weights != 0.0, axis=0))
        weights = seen.weights[:, touched] / seen.sd[:, None]
        belief = case.path.belief.covariance[np.ix_(touched, touched)]
        prior = np.linalg.inv(belief + 1e-9 * np.eye(touched.size))
        information = weights.T @ weights
        step = np.linalg.inv((TAIL + 1.0) / TAIL * information + prior)
        known: Floats = np.linalg.inv(information + prior)
        return cls(weights, seen.sd, np.asarray(prior, np.float64), known, np.asarray(step, np.float64))

    def begin(self, off: Floats) -> Floats:
        """Unknowns (m, k) to begin with, from what is off (m, n), sd."""
        return np.asarray(off @ self.weights @ self.known)

    def better(self, unknowns: Floats, pull: Floats) -> Floats:
        """The unknowns moved by one step, `pull` (m, n) being what is left off, sd, each with its trust."""
        return np.asarray(unknowns + (pull @ self.weights - unknowns @ self.prior) @ self.step)

    def left(self, off: Floats, unknowns: Floats) -> Floats:
        """What is left off (m, n), sd."""
        return np.asarray(off - unknowns @ self.weights.T)

    def cost(self, unknowns: Floats) -> Floats:
        """Nepers (m,) by which these unknowns are less probable beforehand than what was believed."""
        return np.asarray(0.5 * np.sum((unknowns @ self.prior) * unknowns, axis=1))

    def settled(self, off: Floats) -> _Settled:
        """What makes these (m, n) most probable, nothing switching."""
        scaled = off / self.sd
        unknowns = self.begin(scaled)
        for _ in range(ROUNDS_SETTLING):
            left = self.left(scaled, unknowns)
            unknowns = self.better(unknowns, (TAIL + 1.0) / (TAIL + np.square(left)) * left)
        return _Settled(unknowns, self.left(scaled, unknowns) * self.sd, self.cost(unknowns))


@dataclass(frozen=True)
class _Heard:
    """What the windows say of hypotheses, the engine's unknowns as supposed: what is off without and with the cause
    undone (m, n), sd; the support of each window (m, T) and how probable it is that the cause was there; what the
    unknowns cost (m,), and ln evidence against a healthy engine with mere noise (m,).
    """

    away: Floats
    there: Floats
    support: Floats
    when: Floats
    cost: Floats
    nepers: Floats


@dataclass(frozen=True)
class _Ear:
    """Hears what `count` windows say of hypotheses; `healthy` (k,) are the unknowns of an engine settled as if nothing
    switched, `plain` its ln likelihood.
    """

    engine: _Unknowns
    chain: TwoStates
    seen: Seen
    count: int
    healthy: Floats
    plain: float

    @property
    def window(self) -> Ints:
        """The window of each that is seen."""
        return self.seen.window

    @cached_property
    def off(self) -> Floats:
        """What is off as seen (n,), sd."""
        return np.asarray(self.seen.off / self.seen.sd)

    @cached_property
    def _by_window(self) -> tuple[Ints, Ints, Ints]:
        """The order by windows, the windows that show anything, and where each begins in that order."""
        order = np.argsort(self.window, kind="stable")
        return order, *np.unique(self.window[order], return_index=True)

    def hear(self, moved: Floats, unknowns: Floats) -> _Heard:
        """What is said of hypotheses, each moving what is seen by `moved` (m, n), sd, beside its unknowns (m, k)."""
        away = self.engine.left(self.off, unknowns)
        there = away + moved
        if_away, if_there = log_t(away), log_t(there)
        order, present, first = self._by_window
        support = np.zeros((len(moved), self.count))
        support[:, present] = np.add.reduceat((if_there - if_away)[:, order], first, axis=1)
        evidence, when = self.chain.joined(support)
        cost = self.engine.cost(unknowns)
        return _Heard(away, there, support, when, cost, if_away.sum(axis=1) + evidence - cost - self.plain)

    def better(self, heard: _Heard, unknowns: Floats) -> Floats:
        """The unknowns moved by one step towards what is off without the cause and with it, by when it was there."""
        there = heard.when[:, self.window]
        trusted_away = heard.away / (TAIL + np.square(heard.away))
        trusted_there = heard.there / (TAIL + np.square(heard.there))
        pull = (TAIL + 1.0) * (trusted_away + there * (trusted_there - trusted_away))
        return self.engine.better(unknowns, pull)

    def begin(self, moved: Floats) -> Floats:
        """Unknowns (m, k) to begin with: of the engine settled as healthy with the cause there half of the time,
        or of the one believed beforehand with the cause there when it says so, whichever makes more probable what is
        seen.

        A large fault that is there half of the time pulls the settled engine half of the way. All windows are then off
        alike, to one side or the other, and no step from there finds out when it was there.
        """
        settled = self.healthy + self.engine.begin(0.5 * moved)
        seen_so = self.hear(moved, np.zeros_like(settled)).when
        believed = self.engine.begin(self.off + seen_so[:, self.window] * moved)
        better = self.hear(moved, believed).nepers > self.hear(moved, settled).nepers
        return np.where(better[:, None], believed, settled)

    def settled(self, moved: Floats, unknowns: Floats) -> tuple[Floats, Floats]:
        """The unknowns (m, k) and when the cause was there, bettered in turn (expectation, maximisation); ln evidence.

        Those that gain no more have settled; those that would have to gain faster than now are lost. Each stops by
        itself, so that it does not hang on which others are asked.
        """
        unknowns, nepers, going = unknowns.copy(), np.full(len(moved), -np.inf), np.arange(len(moved))
        for left in range(ROUNDS, 0, -1):
            heard = self.hear(moved[going], unknowns[going])
            goes_on = heard.nepers - nepers[going] >= np.maximum(NO_MORE, (-LOST - heard.nepers) / left)
            nepers[going] = heard.nepers
            if left == 1 or not goes_on.any():
                break
            bettered = self.better(heard, unknowns[going])[goes_on]
            going = going[goes_on]
            unknowns[going] = bettered
        return unknowns, nepers

    def fitted(self, supposed: Supposed) -> tuple[Floats, Floats]:
        """Each hypothesis settled by itself, then once more from when the likeliest of its branch was there."""
        moved = supposed.moves / self.seen.sd
        unknowns, nepers = self.settled(moved, self.begin(moved))
        foremost = foremost_of_branches(supposed, nepers)
        when = self.hear(moved[foremost], unknowns[foremost]).when[supposed.branch]
        handed = self.healthy + self.engine.begin(when[:, self.window] * moved)
        again = np.flatnonzero(self.hear(moved, handed).nepers > nepers)
        if again.size:
            unknowns[again], nepers[again] = self.settled(moved[again], handed[again])
        return unknowns, nepers


@dataclass(frozen=True)
class _Fitted:
    """The hypotheses that are worth a look (m), the share of its cause's sizes that each stands for (m,), what is off
    under each with the engine's unknowns found and nothing undone (m, n), what those cost (m,), and the support of
    each window (m, T).
    """

    likely: Supposed
    share: Floats
    off: Floats
    cost: Floats
    support: Floats


def _fitted(case: Case, parts: Sequence[Windows], ear: _Ear, sizes: SomeSizes) -> _Fitted:
    """The engine's unknowns and the windows in which each cause was there, for some sizes of each, and finer ones
    beside the likeliest of each branch. What is left by integrating the unknowns out, the ratio of two nearly equal
    determinants, is left out.
    """
    supposed = suppose(parts, sizes)
    unknowns, nepers = ear.fitted(supposed)
    finer = suppose(parts, finer_sizes(case, supposed, nepers, WORTH_A_LOOK))
    if len(finer):
        besides = ear.fitted(finer)
        supposed = supposed.and_also(finer)
        unknowns, nepers = (np.concatenate(pair) for pair in zip((unknowns, nepers), besides, strict=True))
    likely = np.flatnonzero(nepers > WORTH_A_LOOK)
    sd = ear.seen.sd
    heard = ear.hear(supposed.moves[likely] / sd, unknowns[likely])
    share = shares_of_sizes(case, supposed)[likely]
    return _Fitted(supposed.only(likely), share, heard.away * sd, heard.cost, heard.support)


def _where_seen(there: Bools, seen: Seen, width: float) -> Bools:
    """Where it was there and seen to be: the chain also walks through windows without a steady point, where only gaps
    shorter than half a spell are bridged.
    """
    known = np.zeros(there.size, dtype=bool)
    known[seen.window] = True
    for begin, end in _stretches(~known):
        if (end - begin) * width <= THERE_S / 2.0:
            known[begin:end] = True
    return there & known


def _stretches(flags: Bools) -> Ints:
    """Where each stretch of true flags begins, and the first after it, shape (stretches, 2)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return edges.reshape(-1, 2)


def _spells(there: Bools, start_s: float, width: float) -> tuple[Interval, ...]:
    """The stretches in which it was there."""
    return tuple((start_s + width * float(a), start_s + width * float(b)) for a, b in _stretches(there))
