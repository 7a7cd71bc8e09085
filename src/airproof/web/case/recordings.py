"""The recordings of a job: given by a drop, with what was understood of each."""

from __future__ import annotations

from airproof.jobs.kinds import Payload, Recording
from airproof.jobs.state import Fact, standing
from airproof.report.wording import duration, signals
from airproof.web.case.fact import show as show_fact
from airproof.web.case.file import CaseFile
from airproof.web.drop import drop
from airproof.web.marks import Mark, heading, lines, link, say

ROLES = {
    "car": "this car, with its trouble",
    "good": "this car, known to be good then",
    "sister": "a good one of another car with this engine",
    "after": "this car, after the repair",
}
WHAT_TO_RECORD = (
    "Key on, engine off: ten seconds. Before anything else.",
    "Warm idle: a minute, then a short blip of the throttle.",
    "A steady drive of a few minutes, somebody else at the wheel or reading.",
    "One full pull in third gear where that is safe and allowed, then off the pedal in gear.",
)


def show(case: CaseFile) -> None:
    """Each recording, and a place to give another."""
    heading(2, "Recordings")
    came = case.bench.waiting.to_tell(case.job)
    if came:
        say(came, "news", role="status")
    case.part(_all, on="facts", of=("recording",))
    drop(f"/job/{case.job}/recordings", "Choose a recording", roles=ROLES)
    with Mark("p"):
        link("Or record it from here, with an adapter at the car's plug", f"/job/{case.job}/line")


def _all(case: CaseFile) -> None:
    found = [fact for kind, fact in standing(case.events) if kind == "recording"]
    if found:
        with Mark("ul", classes="evidence"):
            for fact in found:
                with Mark("li"):
                    _one(case, fact)
    else:
        say("None yet. What tells most, in this order:")
        lines(WHAT_TO_RECORD, ordered=True)


def _one(case: CaseFile, fact: Fact[Payload]) -> None:
    one = fact.payload
    assert isinstance(one, Recording)
    long = "" if one.seconds is None else f", {duration(one.seconds)}, {signals(len(one.holds))}"
    link(f"{one.name}{long}", f"/job/{case.job}/recording/{one.sha256}")
    say(ROLES.get(one.role, one.role).capitalize() + ".", "soft")
    show_fact(case, "recording", fact, "Who gave it, and when")
