"""The weighing as a page shows it: each cause as a sentence, and the evidence for and against it down to the rule.

The same words as `in_words`, in pieces: which piece is opened and which not is for the page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Annotated

import tomli
from pydantic import BaseModel, ConfigDict, Field

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.verdict import CauseVerdict, Evidence, Verdict
from airproof.knowledge.model import NONE, Knowledge
from airproof.recording.recording import Interval
from airproof.report.in_words import WEIGHTS, is_picture, said_of, strength, vague, weight_of
from airproof.report.wording import in_hundred, number, sentence

SHOWN_FROM = 0.005
"""Causes less probable than this share one line; judged: Airproof authors: below one half in a hundred."""

MOST_SHOWN = 6
BEFORE = "before"


class Rule(BaseModel):
    """What a finding rests on: in words, as a formula, where it is from; `exhibit` is the picture that shows it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    finding: str
    rule: Annotated[str, Field(min_length=1)]
    formula: Annotated[str, Field(min_length=1)]
    source: Annotated[str, Field(min_length=1)]
    exhibit: Annotated[int, Field(ge=1)] | None = None


@dataclass(frozen=True)
class EvidenceShown:
    """One piece of evidence: `decibans` is its weight heard alone, `counted` what it came to among its like.

    `healthy`: what a healthy engine shows, in words, where it was measured; `intervals` where in the recording.
    """

    says: str
    weight: str
    decibans: float
    counted: float
    rule: Rule
    healthy: str
    intervals: tuple[Interval, ...]


@dataclass(frozen=True)
class CauseShown:
    """One cause: the sentence with its size, its chance in words, and what speaks for and against it.

    `silent`: how many more pieces were heard that hardly speak; `before`: how common it is to begin with, decibans.
    """

    id: str
    says: str
    chance: str
    probability: float
    speaks_for: tuple[EvidenceShown, ...]
    against: tuple[EvidenceShown, ...]
    silent: int
    before: float


@dataclass(frozen=True)
class Weighed:
    """The causes worth a line of their own; all others together in one sentence, empty where there are none, and which
    they are.
    """

    causes: tuple[CauseShown, ...]
    others: str
    which: tuple[str, ...]


@cache
def rules() -> tuple[Rule, ...]:
    """All rules, the longest beginning first."""
    text = (resources.files("airproof.report") / "data" / "rules.toml").read_text(encoding="utf-8")
    found = [Rule.model_validate(row) for row in tomli.loads(text)["rule"]]
    return tuple(sorted(found, key=lambda one: -len(one.finding)))


def rule_of(finding: str) -> Rule:
    """The rule that a finding or another piece of evidence rests on."""
    return next(rule for rule in rules() if finding.startswith(rule.finding))


def case_file(verdict: Verdict) -> Weighed:
    """The weighing in pieces, most probable cause first."""
    shown = [c for c in verdict.causes if c.probability >= SHOWN_FROM][:MOST_SHOWN] or list(verdict.causes[:1])
    findings = {finding.id: finding for finding in verdict.findings}
    rest = [c for c in verdict.causes if c not in shown]
    which = tuple(cause.title[0].lower() + cause.title[1:] for cause in rest)
    return Weighed(tuple(_cause(one, findings) for one in shown), _others(rest), which)


def sources_in_words(keys: Sequence[str], known: Knowledge) -> list[str]:
    """Where something is from, with how far it can be relied on."""
    found = (known.sources.get(key) for key in keys)
    return [
        sentence(key) if source is None else f"{source.title} ({source.standing})."
        for key, source in zip(keys, found, strict=True)
    ]


def _cause(cause: CauseVerdict, findings: dict[str, Finding]) -> CauseShown:
    told = [e for e in cause.evidence if e.finding != BEFORE and not vague(findings.get(e.finding))]
    loud = [e for e in told if abs(weight_of(e)) >= WEIGHTS[-1][0]]
    plainest_first = sorted(loud, key=lambda e: (is_picture(e), -abs(weight_of(e))))
    pieces = [_evidence(e, findings.get(e.finding)) for e in plainest_first]
    says = "Nothing is wrong that this can see" if cause.id == NONE else said_of(cause)
    return CauseShown(
        id=cause.id,
        says=sentence(says),
        chance=in_hundred(cause.probability),
        probability=cause.probability,
        speaks_for=tuple(one for one in pieces if one.decibans > 0.0),
        against=tuple(one for one in pieces if one.decibans < 0.0),
        silent=len(told) - len(loud),
        before=next((e.decibans for e in cause.evidence if e.finding == BEFORE), 0.0),
    )


def _evidence(evidence: Evidence, finding: Finding | None) -> EvidenceShown:
    weight = weight_of(evidence)
    side = "for it" if weight > 0.0 else "against it"
    healthy: str = ""
    intervals: tuple[Interval, ...] = ()
    if finding is not None and finding.unit:
        intervals = finding.intervals
        if not is_picture(evidence):  # its numbers are no quantity that anybody could read off
            low, high = (number(edge, 3) for edge in finding.expected)
            healthy = f"A healthy engine shows {low} to {high} {finding.unit} (90 in 100 of them)."
    return EvidenceShown(
        says=sentence(evidence.says),
        weight=f"speaks {strength(weight)} {side}",
        decibans=weight,
        counted=evidence.decibans,
        rule=rule_of(evidence.finding),
        healthy=healthy,
        intervals=intervals,
    )


def _others(causes: Sequence[CauseVerdict]) -> str:
    if not causes:
        return ""
    return f"All others together: {in_hundred(sum(cause.probability for cause in causes))}."
