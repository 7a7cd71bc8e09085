"""The judgement: from the probabilities of what may be so to one of five answers, in one sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from airproof.knowledge.model import Cause, Knowledge
from airproof.repair.proof.judged import Judged
from airproof.repair.proof.proof import LOST, Change, Judgement, Missing, Outcome
from airproof.repair.proof.stretches import Needs
from airproof.repair.proof.words import amount_in_words, in_hundred, in_small, plus_minus, with_sign


def judge(
    done: Mapping[Outcome, float], even: Mapping[Outcome, float], missing: Sequence[Missing], judged: Judged
) -> Judgement:
    """`done` are the outcomes after what was done, `even` those after work as likely to fail as to help.

    An answer must stand on both, so that neither hope nor doubt about the work proves anything: a proof is as sure as
    it has to be after what was done, and at even odds the evidence is strong by itself. Where a regime is missing that
    would show the cause, "not fixed" must be as sure as a proof.
    """
    least = {outcome: min(done[outcome], even[outcome]) for outcome in done}
    still = min(done["same"] + done["partly"], even["same"] + even["partly"])
    if least["nothing before"] >= judged.nothing_before:
        return "nothing to prove"
    unseen = any(one.needed and one.seconds is not None for one in missing)
    if still >= (judged.proved if unseen else judged.not_fixed):
        return "not fixed"
    if least["something else"] >= judged.something_else and not any(one.what == LOST for one in missing):
        return "fixed, but something else shows"
    likely_else = max(done["something else"], even["something else"])
    if (
        done["fixed"] >= judged.proved
        and even["fixed"] >= judged.proved_evenly
        and likely_else <= judged.nothing_else
        and not any(one.needed for one in missing)
    ):
        return "proved"
    return "not proved yet"


def in_a_sentence(
    judgement: Judgement,
    cause: Cause | None,
    needs: Needs | None,
    outcomes: Mapping[Outcome, float],
    even: Mapping[Outcome, float],
    size: Change | None,
    changes: Sequence[Change],
    missing: Sequence[Missing],
    others: Mapping[str, float],
    judged: Judged,
    known: Knowledge,
) -> str:
    """The judgement with its numbers; `outcomes` are those after what was done, `even` those at even odds."""
    if judgement == "nothing to prove" or cause is None or needs is None:
        return "nothing to prove: nothing was wrong before that these recordings can show"
    called = needs.called
    signed = cause.size is not None and cause.size.signed
    match judgement:
        case "proved":
            return f"{_gone(called, cause, size, changes, signed)}: proved"
        case "not fixed":
            both = "" if size is None else f" ({_both(size, signed)})"
            if outcomes["partly"] > outcomes["same"]:
                return f"not fixed: {called} is smaller, but still there{both}"
            return f"not fixed: {called} is as it was{both}"
        case "fixed, but something else shows":
            first = next(iter(others), None)
            what = "" if first is None else f": {in_small(known.causes[first].title)}"
            return f"{called} is gone, but something else shows now{what}"
    needed = sorted((one for one in missing if one.needed), key=lambda one: one.what != LOST)
    stands_between = needed or [one for one in missing if one.what == "odd"]
    if stands_between:
        return f"not proved yet: {stands_between[0].says}"
    return f"not proved yet: {_undecided(called, outcomes, even, judged)}"


def _gone(called: str, cause: Cause, size: Change | None, changes: Sequence[Change], signed: bool) -> str:
    if size is not None and signed and size.after.low is not None and size.before.low is not None:
        assert size.before.high is not None
        before = with_sign(size.before.value, (size.before.high - size.before.low) / 3.3)
        return f"{called} went from {before} to {plus_minus(size.after, signed)} {cause.unit}"
    if size is not None:
        before = amount_in_words(size.before, cause.unit, signed)
        return f"{called} went from {before} to {amount_in_words(size.after, cause.unit, signed)}"
    moved = next((one for one in changes if one.moved), None)
    return f"{called} is gone" + ("" if moved is None else f" ({moved.says})")


def _both(size: Change, signed: bool) -> str:
    before, after = (amount_in_words(one, size.unit, signed) for one in (size.before, size.after))
    return f"{before} before, {after} after"


def _undecided(called: str, done: Mapping[Outcome, float], even: Mapping[Outcome, float], judged: Judged) -> str:
    proved, evenly = judged.proved, judged.proved_evenly
    if done["fixed"] >= proved and even["fixed"] < evenly:
        return (
            f"that {called} is gone has {in_hundred(done['fixed'])} after what was done, but "
            f"{in_hundred(even['fixed'])} if that had been as likely to fail as to help; a proof needs "
            f"{in_hundred(proved)} and {in_hundred(evenly)}"
        )
    words: Mapping[Outcome, str] = {
        "fixed": "it is gone",
        "same": "it is as it was",
        "partly": "it is smaller, but still there",
        "something else": "it is gone and something else shows",
        "nothing before": "it was never there",
    }
    # Where even odds would do, what is open is something else, which may show at either odds.
    outcomes = done if done["fixed"] < proved or done["something else"] > even["something else"] else even
    open_ = sorted((p, name) for name, p in outcomes.items() if p >= 0.02)[::-1]
    said = ", ".join(f"{words[name]} ({in_hundred(p)})" for p, name in open_)
    return f"of {called} these recordings leave open whether {said}"
