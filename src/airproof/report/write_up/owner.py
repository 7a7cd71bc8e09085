"""The first page, for the owner: what was wrong, how we know, what was done, what it cost, what to watch."""

from __future__ import annotations

from collections.abc import Sequence

from airproof.diagnosis.told import STILL_THERE
from airproof.diagnosis.verdict import Evidence
from airproof.jobs.kinds import Closed, Repair
from airproof.jobs.kinds import Step as StepDone
from airproof.jobs.left_to_do import done_once
from airproof.jobs.state import Fact
from airproof.knowledge.model import NONE
from airproof.repair.proof.proof import Proof
from airproof.report.in_words import answer, strength, telling, weight_of
from airproof.report.job_in_words import DONE, in_vain
from airproof.report.language.language import Words
from airproof.report.pictures import before_after
from airproof.report.write_up.content import Block, Bullets, Figure, Paragraph, Section
from airproof.report.write_up.figures import Exhibits
from airproof.report.write_up.proof_part import of_before
from airproof.report.write_up.writing import Writer, joined

MOST_EVIDENCE = 3
MOST_STEPS = 8
MOST_TO_WATCH = 3


def owner_page(write: Writer, exhibits: Exhibits) -> tuple[Section, ...]:
    """The sections of the first page; those with nothing to say are left out."""
    sections = (
        Section("complaint", write.own("The complaint"), _complaint(write)),
        Section("wrong", write.own("What was wrong"), _wrong(write)),
        Section("know", write.own("How we know"), _know(write)),
        Section("done", write.own("What was done"), _done(write)),
        Section("cost", write.own("What it cost"), _cost(write)),
        Section("watch", write.own("What to watch"), _watch(write)),
        Section("picture", write.own("The evidence in one picture"), _picture(write, exhibits)),
    )
    return tuple(one for one in sections if one.blocks)


def lead_exhibit(write: Writer, exhibits: Exhibits) -> Figure | None:
    """The picture for the first page: of the proof where there is one, else of the strongest thing measured."""
    proved = next((one for one in exhibits.figures if one.number == before_after.NUMBER), None)
    if write.case.proof_of_today is not None and proved is not None:
        return proved
    shown = (exhibits.showing(one.finding) for one in _evidence(write) if not one.finding.startswith(_TOLD))
    return next((one for one in shown if one is not None), exhibits.figures[0] if exhibits.figures else None)


_TOLD = ("code ", "symptom ", "look ", "history ", "condition ", "step ", "frame ")


def _complaint(write: Writer) -> tuple[Block, ...]:
    state, blocks = write.case.state, []
    if state.complaint is not None:
        blocks.append(Paragraph((write.typed(state.complaint.payload.text),)))
    noticed = [write.title_of("symptom", id_) for (kind, id_), one in state.noted.items()
               if kind == "symptom" and one.payload.found]  # fmt: skip
    said = []
    if noticed:
        said.append(joined([write.own("Noticed:"), joined(noticed, "; ")]))
    if state.codes:
        known = write.case.known.codes
        codes = [
            joined([write.typed(id_), _bracketed(write.title_of("code", id_))]) if id_ in known else write.typed(id_)
            for id_ in state.codes
        ]
        said.append(joined([write.own("Codes:"), joined(codes, "; ")]))
    return (*blocks, *([Paragraph((one,)) for one in said]))


def _bracketed(words: Words) -> Words:
    return Words(f"({words.text})", words.language)


def _wrong(write: Writer) -> tuple[Block, ...]:
    case, blocks = write.case, []
    closed, verdict = case.state.closed, case.verdict
    if closed is not None:
        cause = closed.payload.cause
        found = None if verdict is None else next((one for one in verdict.causes if one.id == cause), None)
        said = write.title_of("cause", cause) if found is None else write.cause(found)
        blocks.append(Paragraph((_ended(said),), lead=True))
        blocks.append(Paragraph((write.own(_standing(closed.payload, case.proof)),)))
        if found is not None and verdict is not None and found.id != verdict.first.id:
            blocks.append(Paragraph(tuple(map(write.ours, ("Before the repair the evidence said:", *answer(verdict))))))
    elif verdict is not None:
        blocks.append(Paragraph(tuple(map(write.ours, answer(verdict))), lead=True))
    elif case.weighing is not None:
        blocks.append(Paragraph(tuple(map(write.ours, answer(case.weighing.verdict)))))
    if case.proof is not None:
        before = of_before(write)
        blocks.append(Paragraph((*before, _ended(write.ours(case.proof.says))), lead=closed is None and not before))
    if not blocks:
        nothing = write.own("Nothing was judged yet.")
        blocks.append(Paragraph((nothing, write.ours(case.why_not)) if case.why_not else (nothing,)))
    return tuple(blocks)


def _standing(closed: Closed, proof: Proof | None) -> str:
    """How sure the cause is; where the proof does not bear it out, it stands behind and whose word it is is said."""
    if closed.standing != "proved":
        return "This is believed, and was not proved."
    if proof is not None and proof.judgement != "proved":
        return "The workshop counts this as proved; what was recorded says:"
    return "This was proved."


def _ended(words: Words) -> Words:
    text = words.text[:1].upper() + words.text[1:]
    return Words(text if text[-1:] in ".!?" else text + ".", words.language)


def _evidence(write: Writer) -> Sequence[Evidence]:
    """The strongest evidence for what was wrong, strongest first, without the whole picture that nobody can follow."""
    verdict, closed = write.case.verdict, write.case.state.closed
    if verdict is None:
        return ()
    cause = None if closed is None else next((c for c in verdict.causes if c.id == closed.payload.cause), None)
    return telling(verdict, cause or verdict.first)


def _know(write: Writer) -> tuple[Block, ...]:
    evidence = _evidence(write)[:MOST_EVIDENCE]
    items = [_heard(write, one) for one in evidence]
    heard = {one.finding for one in evidence}  # a step among it has been told with its weight
    found = [
        fact
        for fact in write.case.state.outcomes.values()
        if fact.payload.outcome == "found" and f"step {fact.payload.id}" not in heard
    ]
    for fact in found[:MOST_EVIDENCE]:
        step = write.case.known.steps.get(fact.payload.id)
        if step is not None and step.if_so:
            items.append(joined([_ended(write.ours(step.title)), write.ours(step.if_so)]))
    verdict = write.case.verdict
    if verdict is not None and verdict.first.id != NONE and not items:
        items = [write.own("No single piece of evidence speaks up; all of it together does.")]
    return (Bullets(tuple(items)),) if items else ()


def _heard(write: Writer, evidence: Evidence) -> Words:
    how = strength(weight_of(evidence))
    return joined([_ended(write.ours(evidence.says)), write.own(f"That speaks {how} for it.")])


def _done(write: Writer) -> tuple[Block, ...]:
    state = write.case.state
    items = [_step(write, fact) for fact in state.latest_steps]
    noted = {fact.payload.id for fact in state.steps if fact.payload.outcome == "done"}
    repairs = {id_: one.payload for one in state.repairs for id_ in one.payload.steps if id_ not in noted}
    items += [_repair(write, id_, one) for id_, one in repairs.items()]
    if len(items) > MOST_STEPS:
        more = write.own("And {n} more steps, listed behind.", n=str(len(items) - MOST_STEPS))
        items = [*items[:MOST_STEPS], more]
    if items:
        return (Bullets(tuple(items)),)
    blocks: list[Block] = [Paragraph((write.own("Nothing has been done to the car yet."),))]
    if write.case.plan is not None and write.case.plan.next_steps and state.closed is None:
        step = write.case.plan.next_steps[0]
        blocks.append(Paragraph((joined([write.own("Best done next:"), _ended(write.ours(step.title))]),)))
    return tuple(blocks)


def _step(write: Writer, fact: Fact[StepDone]) -> Words:
    step, outcome = write.case.known.steps.get(fact.payload.id), fact.payload.outcome
    if step is None:  # of a catalogue that is not ours
        title = write.own("{step}:", step=write.typed(fact.payload.id).text)
        return _ended(joined([title, write.own(OUTCOMES[outcome])]))
    came = STILL_THERE if in_vain(fact.payload, write.case.known) else OUTCOMES[outcome]
    says = {"found": step.if_so, "not found": step.if_not}.get(outcome, "") or came
    return _ended(write.ours(f"{step.title}: {says}"))


def _repair(write: Writer, id_: str, repair: Repair) -> Words:
    step = write.case.known.steps.get(id_)
    if step is None or repair.gone is None:
        return _ended(write.title_of("step", id_))
    return _ended(write.ours(f"{step.title}: {DONE[repair.gone]}"))


OUTCOMES = {"found": "found", "not found": "not found", "done": "done", "could not": "could not be done"}


def _cost(write: Writer) -> tuple[Block, ...]:
    state = write.case.state
    steps: list[StepDone | Repair] = [fact.payload for fact in state.steps]
    noted = {one.id for one in steps if isinstance(one, StepDone) and one.outcome == "done"}
    # A repair that was noted as a step before is one and the same, and cost its money once.
    steps += [one for one in done_once(state) if not set(one.steps) & noted]
    money = [one.money for one in steps if one.money is not None]
    minutes = [one.minutes for one in steps if one.minutes is not None]
    said = []
    if money:
        said.append(write.own("Parts and bills: {money}.", money=write.money(sum(money)).text))
    if minutes:
        said.append(write.own("Work: {n} minutes.", n=write.number(sum(minutes), 0).text))
    if said and (len(money) < len(steps) or len(minutes) < len(steps)):
        said.append(write.own("What nobody wrote down is not in it."))
    plan = write.case.plan
    if not said and plan is not None and plan.next_steps and write.case.state.closed is None:
        step = plan.next_steps[0]
        money_, minutes_ = write.money(round(step.expected_total_money)), write.number(step.expected_total_minutes, 0)
        said.append(
            write.own(
                "The whole repair is expected to take {money} and {n} minutes.", money=money_.text, n=minutes_.text
            )
        )
    return (Paragraph(tuple(said)),) if said else ()


def _watch(write: Writer) -> tuple[Block, ...]:
    case, items = write.case, []
    proof = case.proof_of_today
    if proof is not None:
        items += [_ended(write.ours(one.says)) for one in proof.missing if one.needed][:MOST_TO_WATCH]
        if proof.holding is not None:
            items.append(_ended(write.ours(proof.holding.says)))
    # Common practice, no source: what is stored tells more than what is remembered.
    items.append(
        write.own("If the lamp comes on again, have the codes and freeze frames read before anyone clears them.")
    )
    if case.state.closed is None:
        items.append(write.own("If the lamp flashes or the engine shakes badly, ease off and have it seen to at once."))
    return (Bullets(tuple(items)),)


def _picture(write: Writer, exhibits: Exhibits) -> tuple[Block, ...]:
    figure = lead_exhibit(write, exhibits)
    return () if figure is None else (figure,)
