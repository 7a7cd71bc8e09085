"""The proof in plain words: the judgement, what changed, what is missing, the car's own word, the drive."""

from __future__ import annotations

from collections.abc import Sequence

from airproof.knowledge.load import knowledge
from airproof.repair.proof.proof import LOST, Change, DriveStretch, Missing, Proof
from airproof.report.in_words import Part
from airproof.report.wording import duration, in_hundred, sentence

SHOWN_CHANGES = 4
SHOWN_OTHERS = 3
OUTCOME_WORDS = {
    "fixed": "it is gone, and nothing else shows",
    "same": "it is as it was",
    "partly": "it is smaller, but still there",
    "something else": "it is gone, and something else shows",
    "nothing before": "nothing was wrong before either",
}
WORTH_SAYING = 0.01


def in_words(proof: Proof) -> tuple[Part, ...]:
    """All parts in reading order; parts with nothing to say are left out."""
    parts = [
        Part("answer", "", (sentence(proof.says), *_chances(proof))),
        Part("changes", "What changed", _changes(proof.changes)),
        Part("else", "What may show now", _others(proof)),
        Part("missing", "What is missing", _missing(proof.missing)),
        Part("codes", "What the car says", tuple(map(sentence, proof.codes.says)) if proof.codes else ()),
        Part("holds", "Whether it holds", (sentence(proof.holding.says),) if proof.holding else ()),
        Part("drive", "The drive that would complete it", tuple(_stretch(one) for one in proof.drive)),
        Part("compared", "What was compared", _compared(proof)),
        Part("cautions", "Take care", tuple(map(sentence, proof.cautions))),
    ]
    return tuple(part for part in parts if part.lines)


def _chances(proof: Proof) -> tuple[str, ...]:
    likely = sorted(((p, name) for name, p in proof.probabilities.items() if p >= WORTH_SAYING), reverse=True)
    if any(one.what == LOST for one in proof.missing):
        likely = []  # of a lost signal nobody knows what it would read
    told = "; ".join(f"{OUTCOME_WORDS[name]}: {in_hundred(p)}" for p, name in likely)
    return (sentence(told), *(sentence(one) for one in proof.reasons)) if told else ()


def _changes(changes: Sequence[Change]) -> tuple[str, ...]:
    sizes = [one for one in changes if one.id.startswith("size ")]
    moved = [one for one in changes if one.moved and one not in sizes][:SHOWN_CHANGES]
    return tuple(sentence(one.says) for one in (*sizes, *moved))


def _others(proof: Proof) -> tuple[str, ...]:
    if proof.judgement not in ("fixed, but something else shows", "not proved yet"):
        return ()
    likely = sorted(proof.something_else.items(), key=lambda item: -item[1])[:SHOWN_OTHERS]
    return tuple(f"{knowledge().causes[cause].title}: {in_hundred(p)}." for cause, p in likely)


def _missing(missing: Sequence[Missing]) -> tuple[str, ...]:
    needed = [sentence(one.says) for one in missing if one.needed]
    return (*needed, *(f"Not needed, but it would help: {one.says}." for one in missing if not one.needed))


def _stretch(one: DriveStretch) -> str:
    why = f" ({'; '.join(one.why[:2])})" if one.why else ""
    return f"{one.title}, {duration(one.seconds)}: {one.how[:1].lower()}{one.how[1:]}{why}."


def _compared(proof: Proof) -> tuple[str, ...]:
    lines = [
        f"{one.regime}: {duration(one.before_s)} before, {duration(one.after_s)} after"
        + (f", {duration(one.needed_s)} needed" if one.needed_s else "")
        + ("." if one.enough else ": too little.")
        for one in proof.regimes
    ]
    return (*lines, *(sentence(one) for one in proof.taken_out))
