"""What is left to do in a job: go on by the plan, prove what was repaired, close it, or nothing."""

from __future__ import annotations

from typing import Literal

from airproof.jobs.kinds import Repair
from airproof.jobs.state import Fact, State

Left = Literal["plan", "prove", "prove on", "something else", "close", "nothing"]
"""`prove`: a repair waits for its proof. `prove on`: the proof says what it still wants. `something else`: the trouble
of this job is gone, and another one shows.
"""

Since = Literal["in vain", "repaired", "opened again", "back"]
"""What may have been said since a proof: its repair was taken back or did not help, another was made, the job was
opened again, the trouble is back.
"""

_BY_JUDGEMENT: dict[str, Left] = {
    "proved": "close",
    "not proved yet": "prove on",
    "fixed, but something else shows": "something else",
}
"""What a proof leaves to do. Where the trouble is as it was, or was never there, the plan goes on."""


def left_to_do(state: State) -> Left:
    """What comes next: a plan is of the car as it came, and says nothing of it once somebody has repaired it."""
    if state.closed is not None:
        return "nothing"
    repair = to_be_proved(state)
    if repair is None:
        return "plan"
    judged = [fact for fact in state.proofs if fact.number > repair.number]
    if not judged or _back_since(judged[-1].number, state):
        return "prove"
    return _BY_JUDGEMENT.get(str(judged[-1].payload.proof.get("judgement")), "plan")


def to_be_proved(state: State) -> Fact[Repair] | None:
    """The last repair, where nothing that was done after it is said to have been in vain."""
    if not state.repairs:
        return None
    last = max(state.repairs, key=lambda fact: fact.number)
    in_vain = any(fact.payload.outcome == "done" and fact.number > last.number for fact in state.steps)
    return None if in_vain else last


def proved_otherwise(state: State) -> tuple[str, ...]:
    """What is to be said of a job closed as proved while its own proof says something else; nothing of any other."""
    closed = None if state.closed is None else state.closed.payload
    if closed is None or closed.standing != "proved" or not state.proofs or proof_of_before(state):
        return ()
    judgement = str(state.proofs[-1].payload.proof.get("judgement"))
    if judgement == "proved":
        return ()
    return (
        f"it is closed as proved, and the proof that it holds says {judgement!r}: where nothing else proved it, reopen "
        "it and close it without --proved; the cause is then believed",
    )


def said_to_be_back(state: State) -> bool:
    """Whether the trouble is said to be back since the repair that is to be proved."""
    repair = to_be_proved(state)
    return repair is not None and any(one.payload.returned and one.number > repair.number for one in state.checked)


def proof_of_before(state: State) -> bool:
    """Whether the last proof speaks of how things were before, and none of what was said since asks for another.

    So it is once the job was opened again, or where none of what was repaired is to be proved any more: it was taken
    back, or the trouble is there in spite of it.
    """
    if not state.proofs:
        return False
    if to_be_proved(state) is None:
        return bool(state.repairs) or any(fact.payload.proof.get("steps") for fact in state.proofs)
    opened = state.reopened
    if opened is None or opened.number < state.proofs[-1].number:
        return False
    heard = [fact.number for fact in state.repairs] + [fact.number for fact in state.checked]
    heard += [fact.number for fact in state.recordings_as("after")]
    heard += [] if state.cleared is None else [state.cleared.number]
    return max(heard, default=0) < opened.number


def since_proof(state: State) -> Since | None:
    """What was said since the last proof, where that made it one of before; None where it speaks of today.

    Stricter than `proof_of_before`: whoever only reads what a job keeps (a write-up) judges nothing anew.
    """
    if not state.proofs:
        return None
    proved, repair = state.proofs[-1].number, to_be_proved(state)
    if repair is None:
        return "in vain" if proof_of_before(state) else None
    if repair.number > proved:
        return "repaired"
    if state.reopened is not None and state.reopened.number > proved:
        return "opened again"
    return "back" if _back_since(proved, state) else None


def in_vain_until(state: State) -> list[int]:
    """Numbers of the events that say that the trouble is there in spite of all repairs before them."""
    found = [fact.number for fact in state.proofs if fact.payload.proof.get("judgement") == "not fixed"]
    return found if state.reopened is None else [*found, state.reopened.number]


def done_once(state: State) -> list[Repair]:
    """The repairs, in their order; one that was told again is one, unless it was found to be in vain between."""
    return [one for one, _ in done_in_turn(state)]


def done_in_turn(state: State) -> list[tuple[Repair, bool]]:
    """The repairs as `done_once`, each with whether the trouble is said to have been there in spite of it."""
    found: list[tuple[int, Repair]] = []
    bounds = in_vain_until(state)
    for fact in sorted(state.repairs, key=lambda one: one.number):
        new, period = fact.payload, sum(bound < fact.number for bound in bounds)
        again = [(p, old) for p, old in found if p == period and old.steps and set(old.steps) <= set(new.steps)]
        found = [one for one in found if one not in again]
        for _, old in again:
            if old.steps == new.steps:
                new = new.model_copy(update={**old.model_dump(exclude_none=True), **new.model_dump(exclude_none=True)})
        found.append((period, new))
    return [(one, period < len(bounds)) for period, one in found]


def _back_since(number: int, state: State) -> bool:
    """Whether the trouble is said to be back, or the job was opened again, since the event of that number."""
    opened = state.reopened is not None and state.reopened.number > number
    return opened or any(fact.payload.returned and fact.number > number for fact in state.checked)
