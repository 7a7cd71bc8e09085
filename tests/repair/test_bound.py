"""The lower bound: never above the best plan there is, above what knowing everything would cost, and of use."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge, SetUp
from airproof.repair.bound.lowest import lowest
from airproof.repair.choices import lay_out, positive_given
from airproof.repair.search import Search
from airproof.repair.task import task_for

FAULTS = ("f1", "f2", "f3", "f4", "f5")
Make = Callable[..., Knowledge]
Belief = dict[tuple[str, ...], float]
Weights = tuple[tuple[tuple[str, ...], float], ...]


def cheapest(known: Knowledge, belief: Mapping[tuple[str, ...], float]) -> float:
    """Expected money of the best plan by trying every step in every state, two causes and set-ups included.

    Minutes cost a dollar each.
    """
    ending = known.prices.part("hand-over-part")

    @cache
    def value(weights: Weights, done: frozenset[str], standing: frozenset[str]) -> float:
        weight = sum(w for _, w in weights)
        best = weight * ending
        for step in known.steps.values():
            if step.ends or step.id in done or not set(step.after) <= done:
                continue
            spared = sum(known.setups[name].minutes for name in standing & set(step.set_up))
            rest = weight * (known.prices.part(step.part) + step.minutes - spared)
            then = frozenset(standing | set(step.set_up)) if not step.engine_runs else frozenset()
            if step.tells:
                yes = tuple((f, w * positive_given(step, f)) for f, w in weights)
                no = tuple((f, w - y) for (f, w), (_, y) in zip(weights, yes, strict=True))
                rest += value(yes, done | {step.id}, then) + value(no, done | {step.id}, then)
            else:
                left: dict[tuple[str, ...], float] = dict.fromkeys((f for f, _ in weights), 0.0)
                for fault, w in weights:
                    for gone in _subsets(fault):
                        p = np.prod(
                            [step.cures.get(c, 0.0) if c in gone else 1 - step.cures.get(c, 0.0) for c in fault]
                        )
                        after = tuple(c for c in fault if c not in gone)
                        if after and p > 0.0:
                            left[after] += w * float(p)
                rest += value(tuple(left.items()), done | {step.id}, then)
            best = min(best, rest)
        return best

    return value(tuple(belief.items()), frozenset(), frozenset())


def _subsets(fault: tuple[str, ...]) -> list[tuple[str, ...]]:
    return [()] + [(c,) for c in fault] + ([fault] if len(fault) == 2 else [])


def workshops(
    make: Make, count: int, seed: int, *, pairs: bool
) -> list[tuple[Knowledge, dict[tuple[str, ...], float]]]:
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(count):
        steps: dict[str, dict[str, Any]] = {}
        tests, repairs = int(rng.integers(1, 4)), int(rng.integers(1, 4))
        for i in range(tests):
            told = rng.choice(5, size=2, replace=False)
            steps[f"t{i}"] = {
                "money": float(rng.uniform(1, 15)),
                "minutes": float(rng.uniform(6, 15)),
                "tells": {f"f{int(c) + 1}": float(rng.uniform(0.6, 0.95)) for c in told},
                "otherwise": float(rng.uniform(0.02, 0.3)),
                "set_up": ("bench",) if i < 2 else (),
            }
        for i in range(repairs):
            cured = rng.choice(5, size=int(rng.integers(1, 3)), replace=False)
            steps[f"r{i}"] = {
                "money": float(rng.uniform(10, 120)),
                "minutes": 6.0,
                "cures": {f"f{int(c) + 1}": float(rng.uniform(0.6, 0.98)) for c in cured},
                "set_up": ("bench",) if i == 0 else (),
                "after": ("t0",) if i == 2 else (),
            }
        known = make(FAULTS, steps, ending=float(rng.uniform(150, 500)), labour_per_hour=60.0)
        bench = SetUp(id="bench", title="the bench laid out", minutes=5.0, source=("judged: these tests, made up",))
        faults: list[tuple[str, ...]] = [(f,) for f in FAULTS]
        if pairs:
            faults += [("f1", "f2"), ("f2", "f4")]
        belief = dict(zip(faults, map(float, rng.dirichlet(np.full(len(faults), 0.7))), strict=True))
        made.append((replace(known, setups={"bench": bench}), belief))
    return made


def laid_out(known: Knowledge, belief: Mapping[tuple[str, ...], float]) -> tuple[Search, Any]:
    singles = {f[0]: p for f, p in belief.items() if len(f) == 1}
    choices, weights = lay_out(singles, known, known.prices, "", {f: p for f, p in belief.items() if len(f) == 2})
    search = Search(choices)
    return search, search.start(weights, np.zeros(len(choices.steps), dtype=np.bool_))


@pytest.mark.parametrize("pairs", [False, True])
def test_the_search_and_the_bound_enclose_the_best_plan(workshop: Make, pairs: bool) -> None:
    ratios = []
    for known, belief in workshops(workshop, 100, seed=3 + pairs, pairs=pairs):
        best = cheapest(known, belief)
        search, place = laid_out(known, belief)
        assert search.complete
        rare = sum(p for f, p in belief.items() if len(f) == 2 and p <= 2e-3)
        assert search.best(place).cost == pytest.approx(best, rel=1e-9, abs=500.0 * rare)
        below = lowest(search.choices, place)
        assert below <= best * (1.0 + 1e-9) + 500.0 * rare
        ratios.append(below / best)
    # Our own measure, a guard and no outside value.
    assert np.mean(ratios) >= 0.995


def test_it_is_above_what_knowing_the_fault_would_cost_and_below_the_plan() -> None:
    known = knowledge()
    task = task_for({c.id: c.weight for c in known.causes.values()}, known, known.prices)
    looked = task.looked_into()
    below = lowest(looked.choices, looked.place)
    clairvoyant = 0.0
    for cause, p in task.belief.items():
        alone = task_for({cause: 1.0}, known, known.prices).looked_into()
        clairvoyant += p * alone.options[0].cost
    assert clairvoyant < below < looked.options[0].cost


def test_what_stands_and_what_is_done_is_taken_account_of(workshop: Make) -> None:
    for known, belief in workshops(workshop, 10, seed=11, pairs=False):
        search, place = laid_out(known, belief)
        for step in (option.step for option in search.options(place)):
            for _, child in search.leads(place, step):
                if child.weight > 1e-6:
                    assert lowest(search.choices, child) <= search.best(child).cost * (1.0 + 1e-9)
