"""The proof in the write-up: before and after, what is missing, what the car says, and the drive that remains."""

from __future__ import annotations

from airproof.repair.proof.proof import Amount, Proof
from airproof.report.language.language import Words
from airproof.report.wording import duration, sentence, with_interval
from airproof.report.write_up.content import Block, Bullets, Paragraph, Section, Table
from airproof.report.write_up.writing import NOTHING, Writer, joined


def proof_pages(write: Writer) -> tuple[Section, ...]:
    """The section of the proof; none where nothing was proved or tried to be."""
    proof = write.case.proof
    if proof is None:
        return ()
    before = of_before(write)
    blocks = (
        Paragraph((*before, write.ours(sentence(proof.says))), lead=not before),
        *_changes(write, proof),
        *_missing(write, proof),
        *_codes(write, proof),
        *_drive(write, proof),
    )
    return (Section("proof", write.own("Before and after"), blocks),)


def of_before(write: Writer) -> tuple[Words, ...]:
    """What goes before a proof that is of before: what was said since, and that it is not of today."""
    match write.case.since_proof:
        case "in vain":
            return (write.own("What was repaired then was taken back or did not help; the proof of before said:"),)
        case "repaired":
            return (write.own("Since the last proof more was repaired, which is still to be proved; that proof said:"),)
        case "opened again":
            return (write.own("The job was opened again since its last proof; that proof said:"),)
        case "back":
            return (write.own("The trouble is said to be back since the last proof; that proof said:"),)
        case None:
            return ()


def _amount(write: Writer, amount: Amount, unit: str) -> Words:
    if amount.low is None or amount.high is None:
        return write.ours(f"{amount.value:.3g} {unit}".strip())
    value, low, high = with_interval(amount.value, amount.low, amount.high)
    return write.ours(f"{value} {unit} ({low} to {high})".replace("  ", " "))


def _changes(write: Writer, proof: Proof) -> tuple[Block, ...]:
    rows = tuple(
        (
            joined(
                [write.ours(one.title[:1].upper() + one.title[1:]), write.own(one.place) if one.place else NOTHING],
                ", ",
            ),
            _amount(write, one.before, one.unit),
            _amount(write, one.after, one.unit),
            _amount(write, one.change, one.unit),
            write.own("yes") if one.moved else write.own("no"),
        )
        for one in proof.changes
        if one.moved or one.id.startswith("size ")
    )
    if not proof.changes:
        return ()
    if len(rows) < len(proof.changes):
        still = write.own("What moved by no more than noise: {n}", n=str(len(proof.changes) - len(rows)))
        rows = (*rows, (still, NOTHING, NOTHING, NOTHING, write.own("no")))
    caption = write.own("The same checks before and after; in brackets nine times in ten.")
    heads = write.heads("What", "Before", "After", "Change", "More than noise")
    return (Table(caption, heads, rows, right=(1, 2, 3)),)


def _missing(write: Writer, proof: Proof) -> tuple[Block, ...]:
    blocks: list[Block] = []
    if proof.reasons:
        blocks.append(Paragraph((write.own("Why it is judged so:"),)))
        blocks.append(Bullets(tuple(write.ours(sentence(one)) for one in proof.reasons)))
    for heading, needed in (("What is missing:", True), ("What would make it surer:", False)):
        missing = tuple(write.ours(sentence(one.says)) for one in proof.missing if one.needed == needed)
        if missing:
            blocks += [Paragraph((write.own(heading),)), Bullets(missing)]
    return tuple(blocks)


def _codes(write: Writer, proof: Proof) -> tuple[Block, ...]:
    codes = proof.codes
    if codes is None:
        return ()
    blocks: list[Block] = []
    if codes.codes:
        rows = tuple(
            (
                write.typed(one.id),
                write.own(one.before) if one.before else NOTHING,
                write.own(one.after) if one.after else NOTHING,
                write.own(one.standing),
            )
            for one in codes.codes
        )
        heads = write.heads("Code", "Before", "After", "Standing")
        blocks.append(Table(write.own("Codes before and after."), heads, rows))
    if codes.monitors:
        monitors = tuple(
            (
                write.ours(one.title),
                NOTHING if one.complete is None else write.own("complete" if one.complete else "incomplete"),
                joined([write.ours(need) for need in one.needs], "; "),
            )
            for one in codes.monitors
        )
        blocks.append(Table(write.own("Readiness."), write.heads("Monitor", "Standing", "Waits for"), monitors))
    if codes.says:
        blocks.append(Bullets(tuple(write.ours(sentence(one)) for one in codes.says)))
    return tuple(blocks)


def _drive(write: Writer, proof: Proof) -> tuple[Block, ...]:
    if not proof.drive:
        return ()
    rows = tuple(
        (write.ours(one.title), write.ours(duration(one.seconds)), write.ours(one.how),
         joined([write.ours(caution) for caution in one.cautions]))
        for one in proof.drive
    )  # fmt: skip
    caption = write.own("The drive that would complete the proof.")
    return (Table(caption, write.heads("Stretch", "Length", "How", "Take care"), rows),)
