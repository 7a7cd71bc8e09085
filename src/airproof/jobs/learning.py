"""A closed job of the store as the shop's learning takes it: no car, no owner, what was wrong and what was done."""

from __future__ import annotations

from collections.abc import Container

from airproof.errors import UnusableRequest
from airproof.jobs.left_to_do import done_in_turn
from airproof.jobs.overview import foremost
from airproof.jobs.state import State
from airproof.knowledge.lookup import spelled_alike
from airproof.knowledge.model import NONE, Knowledge, Step
from airproof.repair.learned.closed_job import NOBODY_KNOWS, ClosedJob, Engine, fitted, possible

OUTCOMES = {"found": "found", "not found": "not found", "done": "did not help", "could not": "could not be done"}


def closed_job_of(state: State, job: int, uid: str, known: Knowledge) -> ClosedJob:
    """The closed job; its number for the learning is the job's own name, which no other shop's job has.

    Raises UnusableRequest where the job is open, or does not say what engine it is.
    """
    if state.closed is None:
        way_out = f"Close it. In the terminal: airproof job add {job} --closed CAUSE --proved."
        raise UnusableRequest(f"job {job} is open", "a closed one", way_out)
    if state.engine is None:
        way_out = f"Say which it is. In the terminal: airproof job add {job} --engine ENGINE.toml."
        raise UnusableRequest(f"job {job} does not say what engine it is", "an engine profile", way_out)
    closed, engine = state.closed.payload, state.engine.payload.engine
    cause = closed.cause.strip()
    told = cause in known.causes
    found = {"causes": [cause], "how_sure": closed.standing} if told else {"causes": [], "how_sure": "handed over"}
    job_data = {
        "schema": "airproof.closed-job/1",
        "id": uid,
        "closed": state.closed.at.date(),
        "engine": {"induction": engine.induction, "air_metering": engine.air_metering, "fuel": engine.fuel},
        "found": found,
        "belief": _belief(state, known) if told and closed.standing == "believed" else {},
        "currency": known.prices.currency,
        "codes": _codes(state, known),
        "symptoms": _noted(state, "symptom", known.symptoms),
        "looks": {
            id_: fact.payload.found
            for (kind, id_), fact in state.noted.items()
            if kind == "look" and id_ in known.looks
        },
        "step": [*_steps(state, known), *_repairs(state, cause, known)],
    }
    return fitted(ClosedJob.model_validate(job_data), known, f"job {job}")


def in_own_words(cause: str, known: Knowledge) -> tuple[str, ...]:
    """What is to be said of a job that was closed with another cause than those known here; nothing for one of them."""
    if cause.strip() in known.causes:
        return ()
    close = spelled_alike("-".join(cause.casefold().split()), known.causes)
    meant = f"; near: {', '.join(close)}" if close else ""
    return (
        f"{cause!r} is none of the causes known here: a shop counts the job as handed over, "
        f"and learns neither cause nor cure from it{meant}",
    )


def _codes(state: State, known: Knowledge) -> list[str] | None:
    read = bool(state.codes) or (state.readiness is not None and state.readiness.payload.codes_read)
    return sorted(id_ for id_ in state.codes if id_ in known.codes) if read else None


def _noted(state: State, kind: str, entries: Container[str]) -> list[str] | None:
    felt = [id_ for (of, id_), fact in state.noted.items() if of == kind and fact.payload.found and id_ in entries]
    return sorted(felt) or None


def _looks(state: State) -> list[tuple[str, bool]]:
    return [(id_, fact.payload.found) for (kind, id_), fact in state.noted.items() if kind == "look"]


def _steps(state: State, known: Knowledge) -> list[dict[str, object]]:
    """Steps in the order of their times; one that repaired, said as a step, did not help."""
    rows = []
    for fact in state.steps:
        step = known.steps.get(fact.payload.id)
        if step is None or step.ends:
            continue
        rows.append(_row(step, OUTCOMES[fact.payload.outcome], fact.payload.minutes, fact.payload.money))
    return rows


def _repairs(state: State, cause: str, known: Knowledge) -> list[dict[str, object]]:
    """Steps of the repairs: that which can cure what was found helped, what was done before it did not.

    Of any other that was not found to be in vain nobody knows.
    """
    turns = done_in_turn(state)
    every = [(k, known.steps[id_]) for k, (one, _) in enumerate(turns) for id_ in one.steps if id_ in known.steps]
    cured = next(((k, step) for k, step in reversed(every) if cause in step.cures), None)
    rows = []
    for k, step in every:
        one, in_vain = turns[k]
        failed = in_vain or (cured is not None and k < cured[0])
        outcome = "helped" if (k, step) == cured else "did not help" if failed else NOBODY_KNOWS
        only = len(one.steps) == 1  # minutes and money are of the whole repair
        rows.append(_row(step, outcome, *((one.minutes, one.money) if only else (None, None))))
    return rows


def _row(step: Step, outcome: str, minutes: float | None, money: float | None) -> dict[str, object]:
    amounts = {name: value for name, value in (("minutes", minutes), ("money", money)) if value is not None}
    return {"id": step.id, "outcome": outcome, **amounts}


def _belief(state: State, known: Knowledge) -> dict[str, float]:
    """How probable each cause was held by the last verdict, where a cause can be on this engine at all."""
    if not state.verdicts or foremost(state.verdicts[-1].payload) is None:
        return {}
    assert state.engine is not None
    engine = state.engine.payload.engine
    kind = Engine(induction=engine.induction, air_metering=engine.air_metering, fuel=engine.fuel)
    causes = state.verdicts[-1].payload.verdict.get("causes")
    found = {}
    for one in causes if isinstance(causes, list) else []:
        if isinstance(one, dict) and isinstance(one.get("probability"), (int, float)):
            id_, p = str(one.get("id", "")), float(str(one["probability"]))
            if id_ in known.causes and possible(kind, id_, known) > 0.0 and p >= 0.005 and id_ != NONE:
                found[id_] = p
    return found
