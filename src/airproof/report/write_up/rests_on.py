"""What the numbers rest on: recordings with their hashes, what was taken for granted, sources; how to do it again."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator

from airproof.diagnosis.expectations import expectations
from airproof.jobs.facts_written import engine_toml, written
from airproof.knowledge.model import Knowledge
from airproof.report.in_words import AS_ANYONE_EXPECTS
from airproof.report.language.language import Words
from airproof.report.wording import duration, sentence
from airproof.report.write_up.content import Block, Bullets, Paragraph, Section, Table
from airproof.report.write_up.trade import LEAST_LISTED
from airproof.report.write_up.writing import NOTHING, Writer, joined

_BREAKS = re.compile(r"[_.-](?=.)|.{20}(?=.)")
"""Where the name of a file may be broken."""

ROLES = {
    "car": "this car",
    "good": "this car, known to be good",
    "sister": "another car with this engine",
    "after": "this car, after the repair",
}


def what_it_rests_on(write: Writer) -> tuple[Section, ...]:
    """The last sections; those with nothing to say are left out."""
    sections = (
        Section("recordings", write.own("Recordings"), _recordings(write)),
        Section("given", write.own("What was given and taken for granted"), _given(write)),
        Section("sources", write.own("Where the numbers come from"), _sources(write)),
        Section("again", write.own("To compute this again"), _again(write)),
    )
    return tuple(one for one in sections if one.blocks)


def _recordings(write: Writer) -> tuple[Block, ...]:
    rows = tuple(
        (
            write.typed(_BREAKS.sub("\\g<0>\N{ZERO WIDTH SPACE}", fact.payload.name)),
            write.own(ROLES.get(fact.payload.role, fact.payload.role)),
            NOTHING if fact.payload.seconds is None else write.ours(duration(fact.payload.seconds)),
            write.number(len(fact.payload.holds), 0),
            write.typed(fact.payload.sha256),
        )
        for fact in write.case.recordings
    )
    if not rows:
        return ()
    caption = write.own("SHA-256 is a fingerprint of the file: whoever has the file can check that it is this one.")
    heads = write.heads("Recording", "Of", "Length", "Signals", "SHA-256")
    blocks: list[Block] = [Table(caption, heads, rows, right=(3,), code=(4,))]
    weighing = write.case.weighing
    if weighing is not None:
        regimes = [f"{name} {duration(s)}" for name, s in weighing.verdict.regimes_s.items() if s >= 0.5]
        if regimes:
            blocks.append(Paragraph((joined([write.own("In them:"), joined(list(map(write.ours, regimes)), ", ")]),)))
    return tuple(blocks)


def _given(write: Writer) -> tuple[Block, ...]:
    case, items = write.case, []
    if case.state.engine is not None:
        one = case.state.engine.payload.engine
        engine = f"{one.displacement_l:g} L, {one.cylinders} cylinders, {one.induction}, {one.fuel}, {one.metering}"
        items.append(joined([write.own("Engine:"), write.ours(engine)]))
    if case.weighing is not None:
        items.append(joined([write.own("Barometer:"), write.ours(f"{case.weighing.barometer.says}.")]))
        if case.weighing.profile.assumed:
            assumed = joined([write.ours(one) for one in case.weighing.profile.assumed], "; ")
            items.append(joined([write.own("Taken for granted, since nobody said:"), assumed]))
        report = case.weighing.recording.report
        remarks = [remark for remark in report.remarks if not AS_ANYONE_EXPECTS.search(remark)]
        items += [write.ours(remark[:1].upper() + remark[1:]) for remark in remarks]
    if case.proof is not None:
        items += [write.ours(sentence(one)) for one in case.proof.taken_out]
    return (Bullets(tuple(items)),) if items else ()


def _sources(write: Writer) -> tuple[Block, ...]:
    case, known = write.case, write.case.known
    keys = list(dict.fromkeys(_keys(write)))
    rows = [
        (
            Words(known.sources[key].title, "en"),
            Words(known.sources[key].taken, "en"),
            write.own(known.sources[key].standing),
        )
        if key in known.sources
        else (Words(key, "en"), NOTHING, NOTHING)
        for key in keys
    ]
    blocks: list[Block] = []
    if rows:
        caption = write.own("How common causes are, what codes, looks and steps tell and cure, and prices.")
        blocks.append(Table(caption, write.heads("Source", "What was taken", "Standing"), tuple(rows)))
    if case.verdict is not None:
        healthy = tuple(
            (
                write.own(name.replace("-", " ")),
                Words(write.language.number(one.mean, 2), write.language.code),
                Words(write.language.number(one.sd, 2), write.language.code),
                Words("" if one.unit == "1" else one.unit, ""),
                Words(one.source, "en"),
            )
            for name, one in expectations().items()
        )
        caption = write.own(
            "What a healthy engine shows: mean and standard deviation over cars, before this car is known."
        )
        heads = write.heads("Check", "Mean", "Deviation", "Unit", "Source")
        blocks.append(Table(caption, heads, healthy, right=(1, 2)))
    return tuple(blocks)


def _keys(write: Writer) -> Iterator[str]:
    """Keys of sources, or sources in words, of all that the case speaks of."""
    case, known = write.case, write.case.known
    if case.verdict is not None:
        for one in case.verdict.causes:
            if one.probability >= LEAST_LISTED and one.id in known.causes:
                yield from known.causes[one.id].source
    yield from _of(known, "codes", case.state.codes)
    for kind, id_ in case.state.noted:
        yield from _of(
            known, {"symptom": "symptoms", "look": "looks", "condition": "conditions"}.get(kind, kind), [id_]
        )
    yield from _of(known, "steps", [fact.payload.id for fact in case.state.steps])
    if case.plan is not None:
        yield from _of(known, "steps", [one.id for one in case.plan.next_steps[:1]])
        yield from known.prices.source


def _of(known: Knowledge, entries: str, ids: Iterable[str]) -> Iterator[str]:
    there = getattr(known, entries)
    for id_ in ids:
        if id_ in there:
            yield from there[id_].source


def _again(write: Writer) -> tuple[Block, ...]:
    case = write.case
    says = [write.own("Made by {program}. The same version, with the same files and facts, gives the same numbers.",
                      program=case.program)]  # fmt: skip
    if case.number is not None:
        says.append(
            write.own(
                "The job file holds all of it: {command} writes it.", command=f"airproof job export {case.number}"
            )
        )
    blocks: list[Block] = [Paragraph(tuple(says))]
    files = [
        engine_toml(case.state) or "",
        *[text for text in (written(case.state, case.known).facts,) if text.strip()],
    ]
    lines = [line for text in files for line in text.splitlines() if line.strip()]
    place = {name: value for name, value in case.state.place.model_dump(exclude_none=True).items() if value}
    lines += [f"{name} = {json.dumps(value, ensure_ascii=False)}" for name, value in place.items()]
    if lines:
        caption = write.own("Engine, facts and place as they were given to the weighing.")
        rows = tuple((write.typed(line),) for line in lines)
        blocks.append(Table(caption, (write.own("Line"),), rows, code=(0,)))
    return tuple(blocks)
