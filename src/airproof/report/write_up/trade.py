"""Behind the first page, for the trade: the verdict in numbers, exhibits, what was measured, and what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from airproof.diagnosis.told import STILL_THERE
from airproof.diagnosis.verdict import CauseVerdict, Verdict
from airproof.jobs.kinds import Measured
from airproof.report.in_words import weight_of
from airproof.report.job_in_words import DONE, in_vain
from airproof.report.language.language import Words
from airproof.report.write_up.content import Block, Bullets, Figure, Paragraph, Section, Table
from airproof.report.write_up.figures import Exhibits
from airproof.report.write_up.writing import NOTHING, Writer, joined

CAUSES_LISTED = 8
LEAST_LISTED = 0.005
LEAST_HEARD = 0.5  # decibans; a tenth more or less in odds is nothing to read about


def trade_pages(write: Writer, exhibits: Exhibits, shown_before: Figure | None) -> tuple[Section, ...]:
    """The sections up to the exhibits and facts; those with nothing to say are left out."""
    sections = (
        Section("verdict", write.own("The verdict in numbers"), _verdict(write)),
        Section("evidence", write.own("The evidence"), _evidence(write)),
        Section("exhibits", write.own("Exhibits"), _exhibits(write, exhibits, shown_before)),
        Section("codes", write.own("Codes, freeze frames and readiness"), _codes(write)),
        Section("noted", write.own("What was noticed and looked at"), _noted(write)),
        Section("readings", write.own("Readings"), _readings(write)),
        Section("steps", write.own("Steps"), _steps(write)),
        Section("limits", write.own("What this cannot tell"), _limits(write)),
        Section("care", write.own("Take care"), _care(write)),
    )
    return tuple(one for one in sections if one.blocks)


def _verdict(write: Writer) -> tuple[Block, ...]:
    verdict = write.case.verdict
    if verdict is None:
        return ()
    listed = [one for one in verdict.causes if one.probability >= LEAST_LISTED][:CAUSES_LISTED]
    rows = [(write.title_of("cause", one.id), _percent(write, one.probability), write.size(one.size)) for one in listed]
    rest = sum(one.probability for one in verdict.causes) - sum(one.probability for one in listed)
    if len(listed) < len(verdict.causes):
        others = write.own("All other causes together ({n})", n=str(len(verdict.causes) - len(listed)))
        rows.append((others, _percent(write, rest), NOTHING))
    table = Table(
        write.own("Probable causes. In brackets the interval that holds the size nine times in ten."),
        write.heads("Cause", "Probability", "Size"),
        tuple(rows),
        right=(1,),
    )
    return (table, *_pairs(write, verdict))


def _percent(write: Writer, probability: float) -> Words:
    if 0.0 < probability < 0.001:
        return Words(f"< {write.language.number(0.1, 1)}\N{NO-BREAK SPACE}%", write.language.code)
    if 0.999 < probability < 1.0:
        return Words(f"> {write.language.number(99.9, 1)}\N{NO-BREAK SPACE}%", write.language.code)
    return Words(f"{write.language.number(100.0 * probability, 1)}\N{NO-BREAK SPACE}%", write.language.code)


def _pairs(write: Writer, verdict: Verdict) -> tuple[Block, ...]:
    rows = tuple(
        (write.title_of("cause", one.causes[0]), write.title_of("cause", one.causes[1]),
         _percent(write, one.probability))
        for one in verdict.pairs
    )  # fmt: skip
    if not rows:
        return ()
    caption = write.own("Two causes at once, against either alone.")
    return (Table(caption, write.heads("Cause", "And", "Probability"), rows, right=(2,)),)


def _evidence(write: Writer) -> tuple[Block, ...]:
    verdict, closed = write.case.verdict, write.case.state.closed
    if verdict is None:
        return ()
    causes = [verdict.first]
    if closed is not None and closed.payload.cause != verdict.first.id:
        causes += [one for one in verdict.causes if one.id == closed.payload.cause]
    explained = write.own(
        "Decibans say how strongly a piece of evidence speaks for the cause against all others: 10 is ten to one, "
        "20 a hundred to one. Shares add up to the odds of the verdict; heard alone says what the piece is worth by "
        "itself, against nothing being wrong."
    )
    return (Paragraph((explained,)), *(_for(write, one) for one in causes), *_clashes(write, verdict))


def _for(write: Writer, cause: CauseVerdict) -> Table:
    def decibans(value: float | None) -> Words:
        return NOTHING if value is None else write.number(value, 1, signed=True)

    said = [one for one in cause.evidence if max(abs(one.decibans), abs(weight_of(one))) >= LEAST_HEARD]
    rows = [
        (write.ours(_capital(one.says)), decibans(one.decibans), decibans(one.alone))
        for one in sorted(said, key=lambda e: -abs(weight_of(e)))
    ]
    if len(said) < len(cause.evidence):
        rest = sum(one.decibans for one in cause.evidence if one not in said)
        others = write.own("What hardly speaks, {n} pieces together", n=str(len(cause.evidence) - len(said)))
        rows.append((others, decibans(rest), NOTHING))
    total = sum(one.decibans for one in cause.evidence)
    rows.append((write.own("Together"), decibans(total), NOTHING))
    caption = joined([write.own("Evidence for:"), write.title_of("cause", cause.id)])
    return Table(caption, write.heads("Evidence", "Share", "Heard alone"), tuple(rows), right=(1, 2))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _clashes(write: Writer, verdict: Verdict) -> tuple[Block, ...]:
    if not verdict.clashes:
        return ()
    said = write.own("Facts that no cause explains together; one of them is old or wrong:")
    return (Paragraph((said,)), Bullets(tuple(write.ours(one.says) for one in verdict.clashes)))


def _exhibits(write: Writer, exhibits: Exhibits, shown_before: Figure | None) -> tuple[Block, ...]:
    blocks: list[Block] = [one for one in exhibits.figures if one is not shown_before]
    if shown_before is not None:
        first = write.own("Exhibit {n} stands on the first page.", n=str(shown_before.number))
        blocks.insert(0, Paragraph((first,)))
    if exhibits.missing:
        blocks.append(Paragraph((write.own("Not drawn:"),)))
        blocks.append(Bullets(tuple(joined([what, why], ": ") for what, why in exhibits.missing)))
    return tuple(blocks)


def _codes(write: Writer) -> tuple[Block, ...]:
    state, blocks = write.case.state, []
    if state.codes:
        rows = tuple(
            (
                write.typed(id_),
                write.title_of("code", id_) if id_ in write.case.known.codes else NOTHING,
                write.own(fact.payload.status),
                write.typed(str(fact.payload.order or "")),
                write.moment(fact.at),
            )
            for id_, fact in sorted(state.codes.items(), key=lambda pair: (pair[1].at, pair[0]))
        )
        heads = write.heads("Code", "What it claims", "Status", "Order", "Noted")
        blocks.append(Table(write.own("Codes as they were read."), heads, rows))
    for fact in state.frames.values():
        values = tuple((write.own(name.replace("_", " ")), _value(write, name, value))
                     for name, value in fact.payload.values.items())  # fmt: skip
        caption = write.own("Freeze frame of {code}, noted {day}.", code=fact.payload.code,
                            day=write.language.moment(fact.at))  # fmt: skip
        blocks.append(Table(caption, write.heads("Signal", "Value"), values, right=(1,)))
    if state.readiness is not None and state.readiness.payload.monitors:
        monitors = tuple((write.own(name.replace("_", " ")), write.own(value))
                     for name, value in state.readiness.payload.monitors.items())  # fmt: skip
        blocks.append(Table(write.own("Readiness."), write.heads("Monitor", "Standing"), monitors))
    return tuple(blocks)


def _value(write: Writer, name: str, value: str | float) -> Words:
    """A value of a freeze frame; pressures there are absolute, but for that of the fuel rail."""
    if not isinstance(value, str):
        return write.number(value, 2)
    absolute = name.endswith("_pressure") and not name.startswith("fuel")
    return write.absolute(value) if absolute else write.as_typed(value)


def _noted(write: Writer) -> tuple[Block, ...]:
    rows = tuple(
        (
            write.own(kind),
            write.title_of(kind, id_),
            write.own("yes") if fact.payload.found else write.own("looked for, not there"),
            write.moment(fact.at),
        )
        for (kind, id_), fact in sorted(write.case.state.noted.items(), key=lambda pair: pair[1].at)
    )
    blocks: list[Block] = []
    if rows:
        caption = write.own("What was noticed, seen and told.")
        blocks.append(Table(caption, write.heads("Kind", "What", "There", "Noted"), rows))
    if write.case.state.notes:
        blocks.append(Bullets(tuple(write.typed(one.payload.text) for one in write.case.state.notes)))
    return tuple(blocks)


def _readings(write: Writer) -> tuple[Block, ...]:
    state = write.case.state
    rows: list[tuple[Words, ...]] = [
        (
            write.own(one.payload.signal.replace("_", " ")),
            write.absolute(one.payload.value),
            write.own("by hand, engine off"),
            write.moment(one.at),
        )
        for one in state.readings.values()
    ]
    for fact in state.measured:
        rows += [(*row, write.moment(fact.at)) for row in _measured(write, fact.payload)]
    if not rows:
        return ()
    heads = write.heads("What", "Value", "Instrument", "Noted")
    return (Table(write.own("Readings, and what they were taken with."), heads, tuple(rows)),)


def _measured(write: Writer, measured: Measured) -> list[tuple[Words, ...]]:
    """The rows of one session with a meter, as they were typed."""
    tables: dict[str, Any] = {str(name): table for name, table in measured.tables.items()}
    meter, sensor = tables.get("meter") or {}, tables.get("sensor") or {}
    accuracy = str(meter.get("accuracy", "")) if isinstance(meter, dict) else ""
    line = str(sensor.get("line", "")) if isinstance(sensor, dict) else ""
    instrument = joined(
        [write.own("meter"), write.typed(accuracy), *([write.own("sensor line:"), write.typed(line)] if line else [])]
    )
    rows: list[tuple[Words, ...]] = []
    for one in tables.get("measured") or []:
        if not isinstance(one, dict):
            continue
        parts = [
            write.typed(f"{name.replace('_', ' ')}: {_plain(value)}" if name != "value" else str(value))
            for name, value in one.items()
            if name != "what"
        ]
        rows.append((write.own(str(one.get("what", ""))), joined(parts, "; "), instrument))
    return rows


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(" = ".join(map(str, one)) if isinstance(one, list) else str(one) for one in value)
    return str(value)


def _steps(write: Writer) -> tuple[Block, ...]:
    steps, repairs = write.case.state.latest_steps, write.case.state.repairs
    if not (steps or repairs):
        return ()
    rows = [
        (
            write.moment(fact.at),
            joined([write.title_of("step", fact.payload.id), write.typed(f"[{fact.payload.id}]")]),
            write.own(STILL_THERE if in_vain(fact.payload, write.case.known) else fact.payload.outcome),
            NOTHING if fact.payload.minutes is None else write.number(fact.payload.minutes, 0),
            write.money(fact.payload.money),
            write.typed(fact.payload.note),
        )
        for fact in steps
    ]
    rows += [
        (
            write.moment(fact.at),
            joined([write.title_of("step", id_) for id_ in fact.payload.steps], "; "),
            write.own(DONE[fact.payload.gone]),
            NOTHING if fact.payload.minutes is None else write.number(fact.payload.minutes, 0),
            write.money(fact.payload.money),
            write.typed(fact.payload.note),
        )
        for fact in repairs
    ]
    heads: Sequence[str] = ("When", "Step", "Outcome", "Minutes", "Money", "Note")
    if not any(row[5].text for row in rows):
        rows, heads = [row[:5] for row in rows], heads[:5]  # type: ignore[misc]
    return (Table(write.own("Steps in the order in which they were noted."), write.heads(*heads), tuple(rows), (3, 4)),)


def _limits(write: Writer) -> tuple[Block, ...]:
    items = []
    if write.case.verdict is not None:
        items += [write.ours(_capital(one)) for one in write.case.verdict.cannot_tell]
    items += [write.ours(_capital(one)) for one in write.case.left_out]
    return (Bullets(tuple(items)),) if items else ()


def _care(write: Writer) -> tuple[Block, ...]:
    case = write.case
    said = [*(case.plan.cautions if case.plan else ()), *(case.verdict.cautions if case.verdict else ())]
    if case.proof is not None:
        said += case.proof.cautions
    return (Bullets(tuple(write.ours(_capital(one)) for one in dict.fromkeys(said))),) if said else ()
