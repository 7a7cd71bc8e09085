"""Facts that no cause explains together: one of them is old or wrong, and the verdict should not rest on both.

Every fact has its best explanation by itself. Where a few facts are far less probable together, under the best of all
single causes and pairs of causes, than each under its own best, no explanation covers them: they clash. A cause rarer
than most explains as much less as it is rarer: a control unit that misreads everything is no way out.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.bayes import NEPERS_TO_DECIBANS, UNEXPLAINED_WHEN_TOLD
from airproof.diagnosis.checks.engine_off import FINDINGS
from airproof.diagnosis.facts import Facts
from airproof.diagnosis.hypotheses import Hypotheses
from airproof.diagnosis.network import Layout, Told, log_told
from airproof.diagnosis.pair_network import plausible_pairs
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.told import replaced
from airproof.diagnosis.verdict import Clash
from airproof.knowledge.model import NONE, Knowledge

Floats = NDArray[np.float64]

MOST_NAMED = 3
THREE_DECIBANS = 12.0
"""Threes are many, and each has a chance to look odd: they are asked for more than pairs. judged: Airproof authors."""
MOST_FACTS = 24  # beyond, threes are not looked at: they grow with the cube


def clashes_of(
    facts: Facts, told: Sequence[Told], testimonies: Sequence[Testimony], hypotheses: Hypotheses, knowledge: Knowledge
) -> tuple[Clash, ...]:
    """What clashes, worst first; threes only where no two of them clash already.

    Looked at are the facts told, freeze frames, what was measured with a meter, and what the pressure sensors read with
    the engine off.
    """
    said = _contradicting(facts, knowledge)
    looked_at = _facts(told, testimonies)
    if len(looked_at) < 2:
        return said
    layout = Layout.of(hypotheses.sizes)
    explained, rarity = _explained(looked_at, told, layout), _rarity(hypotheses, layout)
    best = (explained + rarity).max(axis=1)
    found: list[tuple[float, tuple[int, ...]]] = []
    for count, least in ((2, UNEXPLAINED_WHEN_TOLD), (3, THREE_DECIBANS)):
        if count == 3 and len(looked_at) > MOST_FACTS:
            continue
        for chosen in combinations(range(len(looked_at)), count):
            if any(len(set(earlier) & set(chosen)) > 1 for _, earlier in found if count == 3):
                continue
            rows = list(chosen)
            apart = NEPERS_TO_DECIBANS * float(best[rows].sum() - (explained[rows].sum(axis=0) + rarity).max())
            if apart > least:
                found.append((apart, chosen))
    found.sort(key=lambda one: -one[0])
    named = [_clash([looked_at[k] for k in chosen], apart) for apart, chosen in found[:MOST_NAMED]]
    return (*said, *named)


def _facts(told: Sequence[Told], testimonies: Sequence[Testimony]) -> list[Testimony]:
    ids = {one.id for one in told} | set(FINDINGS.values())
    return [
        one for one in testimonies if one.finding.id in ids or one.finding.id.startswith(("freeze frame ", "meter "))
    ]


def _explained(looked_at: Sequence[Testimony], told: Sequence[Told], layout: Layout) -> Floats:
    """ln P of each fact under every single hypothesis and then under every pair, (F, H + pairs).

    In a pair each fact has the sizes that suit it best, so that no clash is claimed for want of a size. What was told
    follows from both causes; what was measured is as the one of them has it that moves it more.
    """
    single = np.array([layout.row(one.by_itself) for one in looked_at])
    by_id = {one.id: one for one in told}
    ranks = {cause: k for k, cause in enumerate(layout.causes)}
    here, there = _couples(layout)
    pairs = np.empty((len(looked_at), here.size))
    for k, testimony in enumerate(looked_at):
        suits = np.array(
            [a + int(single[k, a:b].argmax()) for a, b in zip(layout.edges[:-1], layout.edges[1:], strict=True)]
        )
        one = by_id.get(testimony.finding.id)
        if one is not None:
            pairs[k] = log_told([one], suits[here], suits[there])
            continue
        row = single[k, suits]
        off = np.abs(row - row[ranks[NONE]])
        pairs[k] = np.where(off[here] >= off[there], row[here], row[there])
    return np.concatenate([single, pairs], axis=1)


def _couples(layout: Layout) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The first and the second cause of every plausible pair, by their places among the causes."""
    ranks = {cause: k for k, cause in enumerate(layout.causes)}
    couples = [[ranks[a], ranks[b]] for a, b in plausible_pairs(layout.causes)]
    here, there = np.array(couples, dtype=np.intp).reshape(-1, 2).T
    return here, there


def _rarity(hypotheses: Hypotheses, layout: Layout) -> Floats:
    """ln of how much less than a usual cause every single hypothesis, and then every pair, explains; at most 0."""
    faults = {c: float(np.logaddexp.reduce(rows)) for c, rows in hypotheses.log_prior.items() if c != NONE}
    usual = float(np.median(list(faults.values())))
    each = np.array([min(faults.get(cause, usual) - usual, 0.0) for cause in layout.causes])
    here, there = _couples(layout)
    return np.concatenate([np.repeat(each, np.diff(layout.edges)), each[here] + each[there]])


def _clash(facts: Sequence[Testimony], apart: float) -> Clash:
    said = [one.finding.says.removesuffix(".") for one in facts]
    which = "one of the two is old or wrong" if len(facts) == 2 else "one of them is old or wrong, or three are at work"
    words = f"{'; '.join(said[:-1])}, yet {_small(said[-1])}"
    return Clash(
        tuple(one.finding.id for one in facts),
        apart,
        f"{words}: no cause, nor two together, explains that; {which}: look again",
    )


def _contradicting(facts: Facts, knowledge: Knowledge) -> tuple[Clash, ...]:
    """A step that found nothing, beside a detail of it that was seen: the detail is heard, and the step is not."""
    found = []
    for outcome in facts.outcomes:
        if outcome.found or not replaced(outcome, facts, knowledge):
            continue
        step = knowledge.steps[outcome.step]
        looks = [knowledge.looks[one] for one in facts.of("look") if knowledge.looks[one].step == step.id]
        seen = looks[0].says.removesuffix(".")
        found.append(
            Clash(
                (f"step {step.id}", *(f"look {look.id}" for look in looks)),
                0.0,
                f"{step.title}: {_small(step.if_not.removesuffix('.'))}, yet {_small(seen)}: one of the two is old or "
                "wrong; what was seen counts here",
            )
        )
    return tuple(found)


def _small(text: str) -> str:
    return text if text[:2].isupper() or text[1:2].isdigit() else text[:1].lower() + text[1:]
