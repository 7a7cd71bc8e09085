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

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks.relations import asked_of
from airproof.diagnosis.in_windows import Seen, Supposed, Windows, some_sizes, suppose, together
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
FALLEN, LOST, TRIED = 20.0, 15.0, 3
"""Nepers below the best of its smaller sizes at which larger ones of a cause are not asked any more, and below a
healthy engine; and how many sizes are tried of one that never comes to be worth a look."""

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
    chain = TwoStates.lasting(THERE_S, AWAY_S, width)
    supposed = suppose(parts, some_sizes(case, causes))
    fitted = _fitted(engine, seen, supposed, chain, count)
    likely = np.flatnonzero(fitted.nepers > WORTH_A_LOOK)
    if not likely.size:
        return {}
    support, off, moves = fitted.support[likely], fitted.off[likely], supposed.moves[likely]
    there, before = chain.likeliest(support)
    stayed, seldom = TwoStates.seldom(width).likeliest(support)
    healthy, all_along = engine.settled(seen.off[None, :]), engine.settled(seen.off + moves)
    ways = [
        (healthy.off, -healthy.cost),
        (all_along.off, -all_along.cost),
        (off + stayed[:, seen.window] * moves, seldom - fitted.cost[likely]),
        (off + there[:, seen.window] * moves, before - fitted.cost[likely]),
    ]
    wander = all_wandering(seen, np.concatenate([rows for rows, _ in ways]), width)
    wander += np.concatenate([besides for _, besides in ways])
    if_healthy, if_all_along, if_from_then_on, if_switching = np.split(wander, np.cumsum([1, *3 * [likely.size]])[:-1])
    lasting = np.maximum(if_all_along, if_from_then_on)
    found = {}
    for cause in dict.fromkeys(supposed.cause[likely].tolist()):
        its = np.flatnonzero(supposed.cause[likely] == cause)
        best = its[np.argmax(if_switching[its])]
        rather = float(if_switching[best] - lasting[its].max())
        if rather < 0.0:
            continue
        # Each of its sizes is as probable as the others before.
        asked = np.count_nonzero(supposed.cause == cause)
        evidence = np.logaddexp.reduce(if_switching[its] - if_healthy) - np.log(asked)
        spells = _spells(_where_seen(there[best], seen, width), case.recording.start_s, width)
        if not spells:
            continue
        found[cause] = ComesAndGoes(float(evidence), rather, float(supposed.size[likely][best]), spells)
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
class _Fitted:
    """What is off under each hypothesis with the engine's unknowns found and nothing undone (C, n), what those cost
    (C,), the support of each window (C, T), and ln evidence against a healthy engine with mere noise (C,).
    """

    off: Floats
    cost: Floats
    support: Floats
    nepers: Floats


def _fitted(engine: _Unknowns, seen: Seen, supposed: Supposed, chain: TwoStates, count: int) -> _Fitted:
    """The engine's unknowns and the windows in which each cause was there, found in turn (expectation, maximisation).

    Small sizes come first: when they were there is where larger ones begin. What is left by integrating the unknowns
    out, the ratio of two nearly equal determinants, is left out.
    """
    healthy = engine.settled(seen.off[None, :])
    plain = log_t(healthy.off[0] / seen.sd).sum() - healthy.cost[0]
    seen_off, moves = seen.off / seen.sd, supposed.moves / seen.sd
    order = np.argsort(seen.window, kind="stable")
    present, first = np.unique(seen.window[order], return_index=True)
    many, branches = len(moves), int(supposed.branch.max(initial=-1)) + 1
    found = _Fitted(np.zeros_like(moves), np.zeros(many), np.zeros((many, count)), np.full(many, -np.inf))
    when, best, alive = np.full((branches, count), 0.5), np.full(branches, -np.inf), np.ones(branches, dtype=bool)
    for place in range(int(supposed.place.max(initial=-1)) + 1):
        these = np.flatnonzero((supposed.place == place) & alive[supposed.branch])
        branch, moved = supposed.branch[these], moves[these]
        unknowns = healthy.unknowns + engine.begin(when[branch][:, seen.window] * moved)
        nepers = np.full(these.size, -np.inf)
        for left in range(ROUNDS, 0, -1):
            away = engine.left(seen_off, unknowns)
            there = away + moved
            far_away, far_there = TAIL + np.square(away), TAIL + np.square(there)
            if_away = -0.5 * (TAIL + 1.0) * np.log(far_away / TAIL)
            gain = -0.5 * (TAIL + 1.0) * np.log(far_there / TAIL) - if_away
            support = np.zeros((these.size, count))
            support[:, present] = np.add.reduceat(gain[:, order], first, axis=1)
            evidence, when[branch] = chain.joined(support)
            cost, before = engine.cost(unknowns), nepers
            nepers = if_away.sum(axis=1) + evidence - cost - plain
            # Those that gain no more have settled; those that would have to gain faster than now are lost. Each stops
            # by itself, so that it does not hang on which others are asked.
            going = nepers - before >= np.maximum(NO_MORE, (-LOST - nepers) / left)
            if not going.any():
                break
            share = when[branch][:, seen.window]
            pull = (TAIL + 1.0) * ((1.0 - share) / far_away * away + share / far_there * there)
            unknowns = np.where(going[:, None], engine.better(unknowns, pull), unknowns)
        found.off[these], found.cost[these], found.support[these], found.nepers[these] = away, cost, support, nepers
        best[branch] = np.maximum(best[branch], nepers)
        alive[branch] = (nepers > best[branch] - FALLEN) & (nepers > -LOST)
        if place + 1 >= TRIED:
            alive &= best > WORTH_A_LOOK
        if not alive.any():
            break
    return replace(found, off=found.off * seen.sd)


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
