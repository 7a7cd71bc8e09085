"""Why a step: what it asks after or can cure, and how likely, in a sentence."""

from __future__ import annotations

import numpy as np

from airproof.knowledge.model import Knowledge
from airproof.repair.choices import Choices, Fault, Floats

GONE = "The trouble is gone: prove it, and the job is over."
STILL_THERE = "The trouble is still there."


def in_words(fault: Fault, knowledge: Knowledge) -> str:
    """What is wrong, to stand within a sentence."""
    titles = [knowledge.causes[cause].title for cause in fault]
    return " together with ".join(title[0].lower() + title[1:] for title in titles)


def why(choices: Choices, belief: Floats, knowledge: Knowledge, number: int) -> str:
    """Why that step, under a belief (n,) that sums to 1."""
    step = choices.steps[number]
    if step.ends:
        return "It settles the job whatever the cause, at a known price."
    if step.tells:
        speaks = belief * np.maximum(choices.positive[number] - (step.otherwise or 0.0), 0.0)
        chance = float(belief @ choices.positive[number])
        about = _strongest(choices, speaks, knowledge)
        return f'It asks after: {about}. Chance of "{step.if_so}": {percent(chance)}.'
    cured = belief * (1.0 - choices.stays[number])
    left = choices.not_cured(belief[None, :], np.array([number]))
    done_with_it = percent(float(belief.sum() - left.sum()))
    if step.kind == "watch":
        return f"Chance that nothing comes back, because nothing is wrong: {done_with_it}."
    about = _strongest(choices, cured, knowledge)
    return f"It can cure: {about}. Chance that the job is done with it: {done_with_it}."


def _strongest(choices: Choices, share: Floats, knowledge: Knowledge) -> str:
    order = [int(i) for i in np.argsort(-share, kind="stable") if share[i] > 0.0][:3]
    large = [i for i in order if share[i] > 0.1 * share[order[0]]]
    return "; ".join(in_words(choices.faults[i], knowledge) for i in large) or "nothing in question here"


def percent(probability: float) -> str:
    """A probability in percent, near the ends with a digit more."""
    return f"{100.0 * probability:.0f} %" if 0.01 <= probability <= 0.99 else f"{100.0 * probability:.1f} %"
