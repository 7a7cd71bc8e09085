"""What is left to do in a job once it was repaired, in plain words: in the place of the next step of its plan."""

from __future__ import annotations

from airproof.jobs.left_to_do import Left, left_to_do, said_to_be_back, to_be_proved
from airproof.jobs.state import State
from airproof.knowledge.model import Knowledge
from airproof.report.in_words import Part

SAYS: dict[Left, str] = {
    "prove on": "The repair is not proved yet: record what the proof still asks for, and prove it again.",
    "something else": "What this job was about is gone, and something else shows: the proof says what. Open a job for "
    "it, with the recording from after the repair as its first.",
    "close": "The repair is proved: close the job.",
    "nothing": "The job is closed: nothing is left to do.",
}

BACK = (
    "The trouble is said to be back: if it is there in spite of the repair, say so of that repair, and the plan goes "
    "on from there."
)


def left_in_words(state: State, known: Knowledge) -> tuple[str, ...]:
    """What to do instead of a next step; nothing where the plan goes on."""
    left = left_to_do(state)
    if left == "plan":
        return ()
    repair = to_be_proved(state)
    if left == "prove on" and repair is not None and repair.payload.steps and said_to_be_back(state):
        return (BACK, SAYS[left])
    if left != "prove":
        return (SAYS[left],)
    assert repair is not None  # there is nothing to prove else
    titles = [known.steps[id_].title for id_ in repair.payload.steps if id_ in known.steps]
    what = f" ({'; '.join(title[0].lower() + title[1:] for title in titles)})" if titles else ""
    there = any(fact.number > repair.number for fact in state.recordings_as("after"))
    first = ("Prove" if there else "Record again as before, in the same regimes, and prove") + f" the repair{what}"
    if repair.payload.gone and not said_to_be_back(state):
        return (f"{first}: that the trouble seems gone is no proof yet.",)
    return (f"{first}.", "If the trouble is still there, say so, and the plan goes on from there.")


def in_the_terminal(job: int, state: State, known: Knowledge) -> Part | None:
    """The same with the commands that do it; None where the plan goes on."""
    lines = left_in_words(state, known)
    if not lines:
        return None
    repair = to_be_proved(state)
    steps = () if repair is None or (repair.payload.gone and not said_to_be_back(state)) else repair.payload.steps
    in_vain = tuple(f"airproof job add {job} --step {id_}=did-not-help" for id_ in steps)
    ways: dict[Left, tuple[str, ...]] = {
        "prove": (f"airproof job prove {job} AGAIN.csv", *in_vain),
        "prove on": (f"airproof job prove {job} MORE.csv", *(in_vain if said_to_be_back(state) else ())),
        "close": (f"airproof job add {job} --closed CAUSE --proved",),
        "nothing": (f"Should the trouble come back: airproof job reopen {job}",),
    }
    return Part("next", "Next step", (*lines, *ways.get(left_to_do(state), ())))
