"""Weighing what a job holds, and planning from it, by the functions that weigh files given on the command line.

The facts of the job are written as the reading files that `airproof weigh --reading` takes, and read by the same
functions; recordings come from the shelf. A verdict is kept with a fingerprint of all it was weighed from, so that
everyone can see whether it is of today. How it is written as JSON is told by the caller: that is a floor above.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeAlias

from airproof import __version__
from airproof.diagnosis.examine import Examined, examine
from airproof.diagnosis.facts import Facts
from airproof.diagnosis.facts_file import load_facts
from airproof.diagnosis.meter.measured import Measurements
from airproof.diagnosis.meter.measured_file import measurements_of
from airproof.diagnosis.place_as_typed import the_ambient_c, the_barometer
from airproof.diagnosis.weigh import weigh_examined
from airproof.diagnosis.weighing import Weighing
from airproof.errors import UnusableFile, UnusableRequest
from airproof.jobs.beside import append_beside
from airproof.jobs.events import Draft
from airproof.jobs.facts_written import Written, engine_toml, written
from airproof.jobs.kinds import Verdict, payload_of
from airproof.jobs.state import Fact, State, state_of
from airproof.jobs.store import Store
from airproof.knowledge.model import Knowledge, Prices
from airproof.recording.recording import Recording
from airproof.repair.plan import Plan, plan_of, task_from
from airproof.repair.task import HABIT, Task
from airproof.repair.verdict_file import task_of

AsObject: TypeAlias = Callable[[Weighing, Plan | None, Sequence[Recording]], dict[str, Any]]
"""How a verdict is written as JSON: report/as_json.py."""


@dataclass(frozen=True)
class Weighed:
    """A job weighed: `seen` is the last event that was heard, `left_out` what is kept and carries no weight.

    `examined` is what its recordings show; it rests on what `recorded` says and on nothing else that was told.
    `recorded` is "" where there were recordings beside the job.
    """

    weighing: Weighing
    plan: Plan | None
    recordings: tuple[Recording, ...]
    left_out: tuple[str, ...]
    facts_sha256: str
    seen: int
    examined: Examined
    recorded: str


def weigh_job(
    store: Store,
    job: int,
    known: Knowledge,
    prices: Prices | None = None,
    progress: Callable[[float], None] | None = None,
    learned: str = "",
    beside: Sequence[Recording] = (),
    before: Weighed | None = None,
    judged: Callable[[Weighed], None] | None = None,
) -> Weighed:
    """Weigh all that the job holds, with recordings `beside` that are not in it yet; `progress` is told the share done.

    `learned` stands for the shop's own numbers where they are in `known`: another text where they are others.
    `before` is the job weighed earlier: recordings are not examined again where they, engine and place are the same.
    `judged` is told the verdict as soon as it is there: its plan is looked for after that.

    Raises UnusableRequest where no engine was given, or there is nothing to weigh.
    """
    events = store.events(job)
    state = state_of(events)
    if state.engine is None:
        raise UnusableRequest(
            f"job {job} does not say what engine it is",
            "an engine profile",
            f"Say which it is. In the terminal: airproof job add {job} --engine ENGINE.toml.",
        )
    says = written(state, known)
    facts, measurements = _told(says, known, f"job {job}")
    if not state.recordings_as("car") and not beside and not facts.anything and not measurements:
        way_out = f"Add one of them. In the terminal: airproof job add {job} --code P0106."
        if state.recordings:  # of another day or another car: none of them shows this trouble
            raise UnusableRequest(
                f"job {job} holds no recording of the car with its trouble, and nothing told",
                "one, or codes, symptoms, looks or readings",
                f"Where a recording here is one, give it again as such. {way_out}",
            )
        raise UnusableRequest(
            f"job {job} holds neither a recording nor anything told",
            "a recording, or codes, symptoms, looks or readings",
            way_out,
        )
    recorded = "" if beside else json.dumps(_recorded(state), sort_keys=True)
    if before is not None and recorded == before.recorded != "" and before.examined.known is known:
        examined = before.examined
    else:
        examined = examine(
            [*recordings_as(store, state, "car"), *beside],
            state.engine.payload.engine,
            baselines=recordings_as(store, state, "good"),
            sisters=recordings_as(store, state, "sister"),
            barometer=the_barometer(state.place.altitude, state.place.barometer),
            ambient_c=the_ambient_c(state.place.ambient),
            known=known,
        )
    if progress is not None:
        progress(0.3)
    weighing = weigh_examined(examined, facts, measurements, progress)
    heard = _fingerprint(state, says, learned)
    found = Weighed(
        weighing, None, examined.recordings, says.left_out, heard, len(events), examined=examined, recorded=recorded
    )
    if weighing.verdict.refusal is not None:
        return found
    if judged is not None:
        judged(found)
    task = planning_task(found, state, known, prices)
    return replace(found, plan=plan_of(task, task.looked_into(asked=[HABIT])))


def keep_verdict(store: Store, job: int, weighed: Weighed, as_object: AsObject, author: str = "") -> None:
    """Add the verdict to the job. It overwrites nothing, so facts that came in meanwhile do not keep it out."""
    verdict = as_object(weighed.weighing, weighed.plan, weighed.recordings)
    payload = payload_of(
        "verdict",
        {
            "verdict": verdict,
            "program": f"airproof {__version__}",
            "facts_sha256": weighed.facts_sha256,
            "recordings": sorted(_hashes(store, job, weighed.seen)),
        },
    )
    append_beside(store, job, [Draft("verdict", payload)], seen=weighed.seen, author=author)


def fingerprint(state: State, known: Knowledge, learned: str = "") -> str:
    """SHA-256 over all that a weighing of this state and its plan hear; a verdict with the same is of today."""
    return _fingerprint(state, written(state, known), learned)


def todays_verdict(state: State, known: Knowledge, learned: str = "") -> Fact[Verdict] | None:
    """The last verdict, where it was weighed from what the job holds now by this version of the program."""
    if not state.verdicts:
        return None
    last = state.verdicts[-1]
    same = last.payload.facts_sha256 == fingerprint(state, known, learned)
    return last if same and last.payload.program == f"airproof {__version__}" else None


def plan_task(state: State, verdict: Fact[Verdict], known: Knowledge, prices: Prices | None = None) -> Task:
    """The planning task of a kept verdict, after the repairs that did not help and without the steps that cannot be."""
    where = f"the verdict of {verdict.at:%Y-%m-%d %H:%M} UTC"
    return _after_steps(
        task_of(json.dumps(verdict.payload.verdict), known, prices or known.prices, where), state, known
    )


def planning_task(weighed: Weighed, state: State, known: Knowledge, prices: Prices | None = None) -> Task:
    """The same from a weighing that is at hand; it must have judged."""
    return _after_steps(task_from(weighed.weighing, known, prices or known.prices), state, known)


def _after_steps(task: Task, state: State, known: Knowledge) -> Task:
    for id_, outcome in sorted(_latest_outcomes(state).items()):
        step = known.steps.get(id_)
        if step is None or step.ends:
            continue
        if outcome == "could not":
            task = task.cannot(step)
        elif outcome == "done" and not step.tells and id_ not in task.done:
            task = task.after(step, None)
    if state.proofs and state.proofs[-1].payload.proof.get("judgement") == "not fixed":
        for id_ in dict.fromkeys(one for fact in state.repairs for one in fact.payload.steps):
            step = known.steps.get(id_)
            if step is not None and not step.tells and id_ not in task.done:
                task = task.after(step, None)
    return task


def _latest_outcomes(state: State) -> dict[str, str]:
    return {fact.payload.id: fact.payload.outcome for fact in state.latest_steps}


def recordings_as(store: Store, state: State, role: str) -> list[Recording]:
    """The job's recordings in that role, from the shelf."""
    day = the_barometer(state.place.altitude, state.place.barometer)
    kpa = None if day is None else day.kpa
    return [
        store.shelf.signals(one.payload.sha256, one.payload.name, one.payload.signals, kpa)
        for one in state.recordings_as(role)
    ]


def _told(says: Written, known: Knowledge, where: str) -> tuple[Facts, list[Measurements]]:
    with tempfile.TemporaryDirectory() as folder, _named(where):
        place = Path(folder)
        facts = Facts()
        if says.facts.strip():
            (place / "facts.toml").write_text(says.facts, encoding="utf-8")
            facts = load_facts([place / "facts.toml"], known)
        files = []
        for number, text in enumerate(says.measured, start=1):
            files.append(place / f"measured-{number}.toml")
            files[-1].write_text(text, encoding="utf-8")
        return facts, measurements_of(files, known) if files else []


@contextmanager
def _named(where: str) -> Iterator[None]:
    try:
        yield
    except UnusableFile as fault:  # it names a file that nobody ever saw
        raise UnusableFile(fault.given, fault.wanted, fault.way_out, where=where) from fault


def _recorded(state: State) -> dict[str, Any]:
    """What an examination of the recordings rests on."""
    recordings = sorted(
        (one.sha256, one.role, "" if one.signals is None else one.signals.model_dump_json())
        for one in (fact.payload for fact in state.recordings.values())
        if one.role != "after"  # a verdict is of before the repair
    )
    return {"engine": engine_toml(state), "place": state.place.model_dump(), "recordings": recordings}


def _fingerprint(state: State, says: Written, learned: str) -> str:
    heard = {"facts": says.facts, "measured": says.measured, "learned": learned, **_recorded(state)}
    could_not = tuple(sorted(id_ for id_, outcome in _latest_outcomes(state).items() if outcome == "could not"))
    if could_not:  # the plan of a verdict goes round it
        heard["could_not"] = could_not
    return hashlib.sha256(json.dumps(heard, sort_keys=True).encode()).hexdigest()


def _hashes(store: Store, job: int, seen: int) -> set[str]:
    return set(state_of(store.events(job)[:seen]).recordings)
