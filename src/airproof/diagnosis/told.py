"""Evidence that is told rather than recorded: stored codes, symptoms, and outcomes of steps already done."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.testimony import Testimony
from airproof.knowledge.model import Cause, Code, Knowledge, Witness

Floats = NDArray[np.float64]

LEAST_NOTICED = 0.25
"""Share of the codes and symptoms that the least size of a cause brings, rising to 1 with the logarithm of the size
up to the typical one; judged: Airproof authors."""


def from_codes(codes: Sequence[str], knowledge: Knowledge, sizes: Mapping[str, Floats]) -> list[Testimony]:
    """Testimonies of the known ones among the codes.

    Codes of one family tend to be stored together by one look at one thing: n of them count as one witness, each with
    an n-th of its weight.
    """
    known = [knowledge.codes[code] for code in dict.fromkeys(codes) if code in knowledge.codes]
    families: dict[str, list[Code]] = {}
    for code in known:
        families.setdefault(code.family, []).append(code)
    return [
        _witnessed(f"code {code.id}", f"{code.id} is stored: {code.title}", code, knowledge, sizes, 1.0 / len(family))
        for family in families.values()
        for code in family
    ]


def from_symptoms(symptoms: Sequence[str], knowledge: Knowledge, sizes: Mapping[str, Floats]) -> list[Testimony]:
    """Testimonies of the known ones among the symptoms, which are ids."""
    found = [knowledge.symptoms[name] for name in dict.fromkeys(symptoms) if name in knowledge.symptoms]
    return [_witnessed(f"symptom {one.id}", one.title, one, knowledge, sizes, 1.0) for one in found]


def from_outcomes(outcomes: Sequence[Outcome], knowledge: Knowledge, sizes: Mapping[str, Floats]) -> list[Testimony]:
    """Testimonies of steps already done, by what each tells under each cause."""
    testimonies = []
    for outcome in outcomes:
        step = knowledge.steps[outcome.step]

        def given(cause: str, outcome: Outcome = outcome) -> float:
            chance = knowledge.steps[outcome.step].positive_given(cause)
            return chance if outcome.found else 1.0 - chance

        says = f"{step.title}: {step.if_so if outcome.found else step.if_not}"
        testimonies.append(_told(f"step {step.id}", says, given, sizes, 1.0))
    return testimonies


def _witnessed(
    name: str, says: str, witness: Witness, knowledge: Knowledge, sizes: Mapping[str, Floats], share: float
) -> Testimony:
    """A code or symptom: its probability under a cause holds at a size a driver notices, and falls off below."""
    rows = {}
    for cause, grid in sizes.items():
        noticed = _noticed(knowledge.causes[cause], grid)
        chance = witness.by_chance + (witness.given(cause) - witness.by_chance) * noticed
        rows[cause] = share * np.log(chance)
    return Testimony(Finding(name, 1.0, 0.0, "", (0.0, 0.0), (), says), rows)


def _noticed(cause: Cause, sizes: Floats) -> Floats:
    """How likely a cause of each size is noticed: 1 from its typical size on, less below."""
    if cause.size is None or sizes.size == 1:
        return np.ones(sizes.size)
    reach = np.log(np.maximum(np.abs(sizes), 1e-9) / cause.size.low) / np.log(cause.size.typical / cause.size.low)
    return np.asarray(np.clip(LEAST_NOTICED + (1.0 - LEAST_NOTICED) * reach, LEAST_NOTICED, 1.0))


def _told(name: str, says: str, given: Callable[[str], float], sizes: Mapping[str, Floats], share: float) -> Testimony:
    finding = Finding(name, 1.0, 0.0, "", (0.0, 0.0), (), says)
    return Testimony(
        finding, {cause: np.full(grid.size, share * np.log(given(cause))) for cause, grid in sizes.items()}
    )
