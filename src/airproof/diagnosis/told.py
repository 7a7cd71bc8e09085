"""Evidence that is told rather than recorded: how codes, symptoms, looks, history and outcomes hang on the causes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.facts import Facts, Noted, entries_of, facts_of
from airproof.diagnosis.network import Layout, Told, as_testimonies, link
from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.testimony import Testimony
from airproof.knowledge.model import Cause, Knowledge, Look, Noticed

Floats = NDArray[np.float64]

LEAST_NOTICED = 0.25
"""Share of the codes and symptoms that the least size of a cause brings, rising to 1 with the logarithm of the size
up to the typical one; judged: Airproof authors."""

SHOWN_IS_STORED = 0.5
"""How probably a monitor that looks at what a freeze frame holds stores its code for values that no healthy engine
shows; judged: Airproof authors, between the best codes' share of noticed faults (0.4 to 0.6) and a monitor that never
fails."""


LEAST_CURED, MOST_CURED = 1e-6, 0.99
"""How probably a repair takes away what it is not for, and what it is for at most; judged: Airproof authors: a new part
can be faulty too."""

STILL_THERE = "done, and the trouble is still there"


def told_of(
    facts: Facts,
    knowledge: Knowledge,
    sizes: Mapping[str, Floats],
    shown: Mapping[str, float] | None = None,
    fuel: str = "petrol",
) -> list[Told]:
    """All that is told, linked to the causes at their sizes.

    `shown[code]`: how far that code's freeze frame itself shows what no healthy engine shows, 0 to 1; `fuel`: what the
    engine burns.
    """
    facts = facts.known_to(knowledge)
    noticed = {cause: how_noticed(knowledge.causes[cause], grid) for cause, grid in sizes.items()}
    whole = {cause: np.ones(grid.size) for cause, grid in sizes.items()}
    return [
        *_codes(facts, knowledge, noticed, shown or {}),
        *_not_stored(facts, knowledge, noticed, fuel),
        *(_noted(one, knowledge, noticed) for one in facts.noted if not covered(one, facts, knowledge)),
        *(_outcome(one, facts, knowledge, whole) for one in facts.outcomes if not replaced(one, facts, knowledge)),
    ]


def from_codes(codes: Sequence[str], knowledge: Knowledge, sizes: Mapping[str, Floats]) -> list[Testimony]:
    """Testimonies of the known ones among the codes, all stored."""
    return as_testimonies(told_of(facts_of(codes=codes), knowledge, sizes), Layout.of(sizes))


def from_symptoms(symptoms: Sequence[str], knowledge: Knowledge, sizes: Mapping[str, Floats]) -> list[Testimony]:
    """Testimonies of the known ones among the symptoms, which are ids."""
    return as_testimonies(told_of(facts_of(symptoms=symptoms), knowledge, sizes), Layout.of(sizes))


def from_outcomes(outcomes: Sequence[Outcome], knowledge: Knowledge, sizes: Mapping[str, Floats]) -> list[Testimony]:
    """Testimonies of steps already done, by what each tells under each cause."""
    return as_testimonies(told_of(facts_of(readings=outcomes), knowledge, sizes), Layout.of(sizes))


def how_noticed(cause: Cause, sizes: Floats) -> Floats:
    """How likely a cause of each size is noticed: 1 from its typical size on, less below."""
    if cause.size is None or sizes.size == 1:
        return np.ones(sizes.size)
    reach = np.log(np.maximum(np.abs(sizes), 1e-9) / cause.size.low) / np.log(cause.size.typical / cause.size.low)
    return np.asarray(np.clip(LEAST_NOTICED + (1.0 - LEAST_NOTICED) * reach, LEAST_NOTICED, 1.0))


# Codes


def _codes(
    facts: Facts, knowledge: Knowledge, noticed: Mapping[str, Floats], shown: Mapping[str, float]
) -> Iterable[Told]:
    first = first_code(facts, knowledge)
    for one in facts.codes:
        code = knowledge.codes[one.id]
        status, family = knowledge.statuses.get(one.status), knowledge.families[code.family]
        hangs = link(code.by_chance, code.given, noticed)
        if status is not None:
            hangs = hangs.commoner_by_chance(status.chance_odds)
            if status.weakens:
                hangs = hangs.weakened(_strengths(status.weakens, noticed))
        if first is not None and one.id != first and knowledge.codes[first].family != code.family:
            hangs = hangs.beside(family.in_the_wake)
        if one.id in shown:
            hangs = hangs.known_else(family.frame_shows, SHOWN_IS_STORED * shown[one.id])
        said = f"{one.id} {'is stored' if status is None else status.says}: {code.title}"
        yield Told(f"code {one.id}", said, (hangs,), (True,), f"codes {code.family}", family.alike)


def _strengths(weakens: Mapping[str, float], noticed: Mapping[str, Floats]) -> Floats:
    return np.concatenate([np.full(grid.size, weakens.get(cause, 1.0)) for cause, grid in noticed.items()])


def first_code(facts: Facts, knowledge: Knowledge) -> str | None:
    """The code that came first, where that is known; what came after it may have come in its wake.

    By the orders given; without any, where one code alone has a freeze frame and that frame would not have displaced
    another's, it is that one.
    """
    ordered = [one for one in facts.codes if one.order is not None]
    if ordered:
        earliest = min(one.order or 0 for one in ordered)
        foremost = [one.id for one in ordered if one.order == earliest]
        return foremost[0] if len(foremost) == 1 else None
    framed = {frame.code for frame in facts.frames} & {one.id for one in facts.codes}
    if len(framed) != 1:
        return None
    (one_code,) = framed
    return None if knowledge.families[knowledge.codes[one_code].family].displaces else one_code


def _not_stored(facts: Facts, knowledge: Knowledge, noticed: Mapping[str, Floats], fuel: str) -> Iterable[Told]:
    """Codes that are not there although their monitor has looked, told by family."""
    readiness = facts.readiness
    if readiness is None or not readiness.codes_read:
        return
    stored = {one.id for one in facts.codes}
    for family in knowledge.families.values():
        missing = [code for code in knowledge.codes.values() if code.family == family.id and code.id not in stored]
        if not missing or family.monitor is None or not readiness.complete.get(family.monitor, False):
            continue
        if family.fuel and fuel not in family.fuel:
            continue
        monitor = knowledge.monitors[family.monitor]
        other = (
            "other " if any(knowledge.codes[one].family == family.id for one in stored & set(knowledge.codes)) else ""
        )
        yield Told(
            f"no code {family.id}",
            f"no {other}code is stored for {family.title}, and the monitor ({monitor.title}) is complete",
            tuple(link(code.by_chance, code.given, noticed) for code in missing),
            (False,) * len(missing),
            f"codes {family.id}",
            family.alike,
            monitor.looked,
        )


# Symptoms, looks, history, conditions


def _noted(one: Noted, knowledge: Knowledge, noticed: Mapping[str, Floats]) -> Told:
    entry = entries_of(one.kind, knowledge)[one.id]
    family, alike = _family(entry, f"{one.kind} {one.id}", knowledge)
    hangs = link(entry.by_chance, entry.given, noticed)
    return Told(f"{one.kind} {one.id}", _words(one, entry), (hangs,), (one.found,), family, alike)


def _family(entry: Noticed, own: str, knowledge: Knowledge) -> tuple[str, float]:
    if entry.family is None:
        return own, 0.0
    return f"noticed {entry.family}", knowledge.families[entry.family].alike


def _words(one: Noted, entry: Noticed) -> str:
    if one.kind == "symptom":
        return entry.title if one.found else f"not noticed: {_small(entry.title)}"
    if one.found:
        return entry.says.removesuffix(".")
    return entry.if_not.removesuffix(".") if isinstance(entry, Look) else f"not so: {_small(entry.title)}"


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def steps_told(facts: Facts, knowledge: Knowledge) -> dict[str, bool]:
    """Steps that were done by what was told, and whether each found what it looks for.

    A detail that was seen does its step; one that was not seen leaves the rest of the step to be looked at.
    """
    by_look = {step: True for one in facts.of("look") if (step := knowledge.looks[one].step) is not None}
    return {one.step: one.found for one in facts.outcomes} | by_look


# Steps already done. A look is the detail of a step: what says the same twice is heard once, and in its finer words.


def _looks_of(step: str, facts: Facts, knowledge: Knowledge, *, found: bool) -> list[str]:
    return [one for one in facts.of("look", found=found) if knowledge.looks[one].step == step]


def replaced(outcome: Outcome, facts: Facts, knowledge: Knowledge) -> bool:
    """Whether a step's outcome is not heard, because a detail of it was seen that says it more closely."""
    return bool(_looks_of(outcome.step, facts, knowledge, found=True))


def covered(one: Noted, facts: Facts, knowledge: Knowledge) -> bool:
    """Whether a look that was not found is not heard, because the whole step found nothing."""
    if one.kind != "look" or one.found:
        return False
    return any(step.step == knowledge.looks[one.id].step and not step.found for step in facts.outcomes)


def _outcome(outcome: Outcome, facts: Facts, knowledge: Knowledge, whole: Mapping[str, Floats]) -> Told:
    step = knowledge.steps[outcome.step]
    if not step.tells:
        hangs = link(LEAST_CURED, lambda cause: min(step.cures.get(cause, LEAST_CURED), MOST_CURED), whole)
        return Told(f"step {step.id}", f"{step.title}: {STILL_THERE}", (hangs,), (False,), f"step {step.id}", 0.0)
    hangs = link(step.otherwise or 0.5, step.positive_given, whole)
    details = [knowledge.looks[one] for one in _looks_of(step.id, facts, knowledge, found=False) if outcome.found]
    family, alike = next(
        (_family(look, "", knowledge) for look in details if look.family is not None), (f"step {step.id}", 0.0)
    )
    says = f"{step.title}: {step.if_so if outcome.found else step.if_not}"
    return Told(f"step {step.id}", says, (hangs,), (outcome.found,), family, alike)
