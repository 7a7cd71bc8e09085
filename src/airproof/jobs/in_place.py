"""What is said anew of a thing takes the place of what was said of it before, which stays in the history.

One code, one look, one place, one outcome of a step: whoever reads the job finds what counts, and nothing denies it.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import Any, cast

from airproof.diagnosis.facts import Kind
from airproof.jobs.events import Draft, now, withdrawal
from airproof.jobs.kinds import Code, Complaint, Engine, Noted, Payload, Place, Repair, Step, payload_of
from airproof.jobs.left_to_do import in_vain_until
from airproof.jobs.state import Fact, State

SAID_ANEW = "said anew"
"""Why a fact was taken back that another one denies."""

AMOUNTS = ("minutes", "money")


def in_place(drafts: Sequence[Draft], state: State) -> list[Draft]:
    """The drafts, with those on a thing that the job speaks of already as corrections: one taking back is then enough.

    What a correction cannot reach, since it is of another kind or said twice before, is taken back beside it.
    """
    found: list[Draft] = []
    for draft in drafts:
        pointed = draft.corrects is not None or draft.withdraws is not None
        found += [draft] if pointed else _placed(draft, state)
    return found


def once_each(drafts: Sequence[Draft]) -> list[Draft]:
    """The drafts; of a code or something noticed that is said twice at once the later one, as ever."""
    last = {_thing(draft, k): k for k, draft in enumerate(drafts)}
    return [draft for k, draft in enumerate(drafts) if last[_thing(draft, k)] == k]


def _thing(draft: Draft, place: int) -> Hashable:
    pointed = draft.corrects is not None or draft.withdraws is not None
    one = draft.payload
    return (draft.kind, one.id) if isinstance(one, Code | Noted) and not pointed else place


def _placed(draft: Draft, state: State) -> list[Draft]:
    one = draft.payload
    old: Fact[Any] | None = None
    match one:
        case Code():
            old = state.codes.get(one.id)
        case Noted():
            old = state.noted.get((cast("Kind", draft.kind), one.id))
        case Engine():
            old = state.engine
        case Complaint():
            old = state.complaint
        case Place():
            return _place(one, state)
        case Step():
            return _step(one, state)
        case Repair() if len(one.steps) == 1:
            return _repair(one, state)
    return [draft if old is None else replace(draft, corrects=old.number)]


def _place(new: Place, state: State) -> list[Draft]:
    """Place and day are laid over each other field by field: what is said anew goes where it was said last."""
    fields = new.model_dump(exclude_none=True)
    olds = {fact.number: fact for name, fact in state.placed.items() if name in fields}
    if not olds:
        return [Draft("place", new)]
    last = olds.pop(max(olds))
    drafts = [Draft("place", Place(**{**last.payload.model_dump(exclude_none=True), **fields}), corrects=last.number)]
    for number, fact in sorted(olds.items()):
        rest = {name: value for name, value in fact.payload.model_dump(exclude_none=True).items() if name not in fields}
        drafts.append(Draft("place", Place(**rest), corrects=number) if rest else withdrawal(number, SAID_ANEW))
    return drafts


def _step(new: Step, state: State) -> list[Draft]:
    """A step whose outcome is another now; a repair that did not help after all is no repair to be proved."""
    olds = [fact for fact in state.steps if fact.payload.id == new.id]
    denied = _to_be_proved(new.id, state)
    took = {} if new.outcome == "could not" else _amounts(*denied, *olds)
    said = {**took, **new.model_dump(exclude_unset=True)}
    if olds and olds[-1].payload.name is not None:
        said.setdefault("name", olds[-1].payload.name)
    # Another outcome is news of today; the same one stands where it was said first.
    same = olds[-1:] if olds and olds[-1].payload.outcome == new.outcome else []
    kept = [fact.number for fact in same]
    back = [withdrawal(number, SAID_ANEW) for number in _numbers(olds) + _numbers(denied) if number not in kept]
    return [Draft("step", payload_of("step", said), corrects=same[0].number if same else None), *back]


def _repair(new: Repair, state: State) -> list[Draft]:
    """A repair said again is one and the same, unless the trouble was found to be there after it."""
    (id_,) = new.steps
    denied = [fact for fact in state.steps if fact.payload.id == id_]
    same = _to_be_proved(id_, state)[-1:]
    said = {**_amounts(*denied), **(_with_its_day(same[0]) if same else {}), **new.model_dump(exclude_unset=True)}
    draft = Draft("repair", payload_of("repair", said), corrects=same[0].number if same else None)
    return [draft, *(withdrawal(fact.number, SAID_ANEW) for fact in denied)]


def _numbers(facts: Sequence[Fact[Any]]) -> list[int]:
    return [fact.number for fact in facts]


def _to_be_proved(step: str, state: State) -> list[Fact[Repair]]:
    """Repairs by that step alone of which it is not known yet that they were in vain."""
    failed = max(in_vain_until(state), default=0)
    return [fact for fact in state.repairs if fact.payload.steps == [step] and fact.number > failed]


def _with_its_day(fact: Fact[Repair]) -> dict[str, Any]:
    """What was said of a repair, with its day where that is not today's: it counts from there."""
    day = {} if fact.at.date() == now().date() else {"day": f"{fact.at:%Y-%m-%d}"}
    return {**day, **fact.payload.model_dump(exclude_unset=True)}


def _amounts(*facts: Fact[Any]) -> dict[str, float]:
    """What it took, as it was said last."""
    found: dict[str, float] = {}
    for fact in facts:
        one: Payload = fact.payload
        found |= {name: value for name in AMOUNTS if (value := getattr(one, name)) is not None}
    return found
