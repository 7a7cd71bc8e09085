"""How good plans are and what they take: against every plan there is where those can be tried, else against the bound.

    python benchmarks/bench_plan.py [NUMBER [SEED]]

First, NUMBER small workshops cut out of the shipped catalogue (three or four causes, their repairs and what these
need, and a few tests), where every plan can be tried: how much dearer the look-ahead's plan is, and how far the bound
lies below the best. Then the whole catalogue, by beliefs from a single code to a nearly sure verdict: seconds for a
plan, for the plan after one more fact, and for the bound; the gap between both; the peer is one pass of the exhaustive
search over a workshop of six steps, in the same run.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge
from airproof.repair import search
from airproof.repair.bound.lowest import lowest
from airproof.repair.task import Looked, Task, task_for

KNOWN = knowledge()
VISIT_ALL = search.STATES_TO_VISIT_ALL
AT_MOST = 9  # steps of a small workshop, the end aside: 3^9 states take a minute


def by_codes(*codes: str) -> dict[str, float]:
    """The causes by their weights and these codes, each for itself."""
    belief = {cause.id: cause.weight for cause in KNOWN.causes.values()}
    for code in codes:
        belief = {cause: p * KNOWN.codes[code].given(cause) for cause, p in belief.items()}
    return belief


def leaning(cause: str, probability: float) -> dict[str, float]:
    """That cause with that probability, the others by their weight."""
    rest = {c.id: c.weight for c in KNOWN.causes.values() if c.id != cause}
    total = sum(rest.values())
    return {cause: probability, **{c: (1.0 - probability) * w / total for c, w in rest.items()}}


BELIEFS = {
    "any complaint": by_codes(),
    "P0106": by_codes("P0106"),
    "P0106, P0171": by_codes("P0106", "P0171"),
    "P0299": by_codes("P0299"),
    "nothing wrong 0.6": leaning("none", 0.6),
    "vacuum leak 0.5": leaning("vacuum-leak", 0.5),
    "sensor 0.8": leaning("map-offset", 0.8),
    "sensor 0.95": leaning("map-offset", 0.95),
}


def cut_out(rng: np.random.Generator) -> Task | None:
    """A small workshop out of the catalogue, or None where it came out too large."""
    causes = [
        str(c) for c in rng.choice([c for c in KNOWN.causes if c != "none"], size=rng.integers(3, 5), replace=False)
    ]
    kept: dict[str, None] = {}
    for cause in causes:
        repairs = [s for s in KNOWN.steps.values() if s.cures.get(cause, 0.0) > 0.2]
        best = max(repairs, key=lambda s: s.cures[cause])
        kept |= dict.fromkeys((*best.after, best.id))
    telling = [s.id for s in KNOWN.steps.values() if s.id not in kept and not s.after and set(causes) & set(s.tells)]
    tests = rng.permutation(telling)[: max(AT_MOST - len(kept), 0)]
    ends = [s.id for s in KNOWN.steps.values() if s.ends]
    steps = {name: KNOWN.steps[name] for name in [*kept, *map(str, tests), *ends]}
    if len(steps) > AT_MOST + 1 or sum(bool(s.tells) for s in steps.values()) > AT_MOST - 3:
        return None
    small: Knowledge = replace(KNOWN, steps=steps)
    weights = rng.dirichlet(np.ones(len(causes)))
    return task_for(dict(zip(causes, map(float, weights), strict=True)), small, KNOWN.prices)


def looked(task: Task, limit: float) -> Looked:
    """The task looked into, all states visited if they are fewer than the limit."""
    search.STATES_TO_VISIT_ALL = limit
    try:
        return task.looked_into()
    finally:
        search.STATES_TO_VISIT_ALL = VISIT_ALL


def small_workshops(number: int, seed: int) -> None:
    """The look-ahead and the bound against the best plan."""
    rng = np.random.default_rng(seed)
    dearer, below = [], []
    while len(dearer) < number:
        task = cut_out(rng)
        if task is None:
            continue
        best = looked(task, 1e6)
        cost = best.options[0].cost
        dearer.append(looked(task, 0).options[0].cost / cost - 1.0)
        below.append(1.0 - lowest(best.choices, best.place) / cost)
    for name, values in (("plan dearer than the best", dearer), ("bound below the best", below)):
        share = 100 * np.array(values)
        print(
            f"{name}: mean {share.mean():.2f} %, median {np.median(share):.2f} %, nine in ten within "
            f"{np.quantile(share, 0.9):.2f} %, worst {share.max():.2f} % ({number} workshops)"
        )


def seconds(work: Callable[[], object], times: int = 5) -> float:
    """The median of some runs."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return float(np.median(taken))


def whole_catalogue(seed: int) -> None:
    """Times and gaps."""
    peer_task = None
    rng = np.random.default_rng(seed)
    while peer_task is None or len(peer_task.knowledge.steps) != 7:
        peer_task = cut_out(rng)
    peer = seconds(lambda: looked(peer_task, 1e6))
    print(f"\npeer: {peer:.3f} s\n")
    print("| belief | plan, s | x peer | after one more fact, s | bound, s | cost, USD | not below, USD | gap, % |")
    print("|---|---|---|---|---|---|---|---|")
    for name, belief in BELIEFS.items():
        task = task_for(belief, KNOWN, KNOWN.prices)
        found = task.looked_into()
        first = KNOWN.steps[found.first]
        once_more = task.after(first, False if first.tells else None)
        plan, again = seconds(task.looked_into), seconds(once_more.looked_into)
        bound = seconds(lambda found=found: lowest(found.choices, found.place), 3)
        below, cost = lowest(found.choices, found.place), found.options[0].cost
        print(
            f"| {name} | {plan:.2f} | {plan / peer:.1f} | {again:.2f} | {bound:.2f} | {cost:.0f} | {below:.0f} | "
            f"{100 * (1 - below / cost):.1f} |",
            flush=True,
        )


def main() -> None:
    words = sys.argv[1:]
    number, seed = int([*words, "100"][0]), int(words[1]) if len(words) > 1 else 1
    small_workshops(number, seed)
    whole_catalogue(seed)


if __name__ == "__main__":
    main()
