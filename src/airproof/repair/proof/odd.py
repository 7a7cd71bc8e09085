"""What speaks against nothing being wrong after the repair: a witness that some other cause would explain far better.

The probabilities weigh it with all the rest, and how rare that cause is, and so does a verdict of the recording after
by itself (alone.py), for which a proof waits; who hands a car back wants to know it all the same, as in a verdict
(diagnosis/gaps.py). The relations of the air path are left to the probabilities: what they expect after rests on how
well a large fault before was undone.
"""

from __future__ import annotations

import numpy as np

from airproof.diagnosis.bayes import NEPERS_TO_DECIBANS, UNEXPLAINED_DECIBANS
from airproof.diagnosis.checks.engine_off import seen_engine_off
from airproof.knowledge.model import NONE
from airproof.repair.proof.by_engine_off import EngineOffWitness
from airproof.repair.proof.by_level import LevelWitness
from airproof.repair.proof.by_relation import RelationWitness
from airproof.repair.proof.courses import Asked
from airproof.repair.proof.joint import Witness, Wrong
from airproof.repair.proof.proof import Missing
from airproof.repair.proof.witnesses import AloneWitness


def odd_after(asked: Asked, cause: str) -> list[Missing]:
    """Witnesses that stand against the repaired car being healthy; no proof waits for them."""
    one = asked.before[cause]
    likeliest = np.array([one.weights.argmax()])
    found = []
    for witness in asked.witnesses:
        if isinstance(witness, RelationWitness) or _usual(witness, asked):
            continue
        clean = float(witness.says(Wrong(cause, likeliest), Wrong(NONE, np.zeros(1, dtype=np.intp)))[0])
        best = max(
            float(witness.says(Wrong(cause, likeliest.repeat(grid.others.size)), Wrong(other, grid.others)).max())
            for other, grid in asked.after.items()
            if other != NONE
        )
        if NEPERS_TO_DECIBANS * (best - clean) > UNEXPLAINED_DECIBANS:
            says = f"outside what healthy cars show: {_called(witness)}; look there, and record again"
            found.append(Missing("odd", None, says, needed=False))
    return found


def _usual(witness: Witness, asked: Asked) -> bool:
    """Whether a healthy engine shows it as well, whatever was before."""
    match witness:
        case LevelWitness():
            return abs(witness.after.value - witness.mean) <= witness.wide
        case EngineOffWitness():
            seen = seen_engine_off(asked.sides.after)
            return seen is None or not any(one.unexpected for one in seen.findings)
    return False


def _called(witness: Witness) -> str:
    match witness:
        case LevelWitness():
            return witness.level.words(witness.after.value, (witness.mean - witness.wide, witness.mean + witness.wide))
        case EngineOffWitness():
            return "the pressure sensors with the engine off, against the day and each other"
        case AloneWitness():
            return witness.testimony.finding.says
    return "what was recorded"
