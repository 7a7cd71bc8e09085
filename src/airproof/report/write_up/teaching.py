"""The teaching sheet: healthy against faulty, five sentences and three exhibits, for who explains faults to others."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from airproof import __version__
from airproof.engine.rehearsal.compare import Comparison, Move, noticeable
from airproof.errors import UnusableRequest
from airproof.jobs.state import State
from airproof.knowledge.load import knowledge
from airproof.knowledge.lookup import UnlistedCode, explain_code
from airproof.quantities.wishes import Wish
from airproof.recording.recording import Recording
from airproof.report.explained import telling_steps
from airproof.report.language.language import Language, Words
from airproof.report.pictures.one_signal import one_signal
from airproof.report.pictures.sheet import as_png, style
from airproof.report.rehearsal_in_words import STAYS_WORTH_SAYING, WHERE, said, the_point, told
from airproof.report.wording import sentence
from airproof.report.write_up.case import Case
from airproof.report.write_up.content import Bullets, Figure, Section, WriteUp
from airproof.report.write_up.figures import figure
from airproof.report.write_up.writing import NOTHING, Writer, joined, labels_of

EXHIBITS = 3


@dataclass(frozen=True)
class Taught:
    """What is taught: one car rehearsed healthy and faulty, what is wrong in words, and the codes that the fault set.

    `causes` are ids; `wrong` says them with their sizes.
    """

    causes: tuple[str, ...]
    wrong: tuple[str, ...]
    comparison: Comparison
    healthy: Recording
    faulty: Recording
    codes: tuple[str, ...]
    made_at: datetime


@dataclass(frozen=True)
class Sheet:
    """The sheet, and its exhibits as files: name, SVG and PNG, 1920 x 1080."""

    write_up: WriteUp
    files: dict[str, bytes]


def sheet_of(taught: Taught, language: Language, wish: Wish) -> Sheet:
    """The sheet in a language and units. Raises UnusableRequest where nothing moves, so that nothing can be shown."""
    if not any(move.kind != "state" for move in told(taught.comparison.moves)):
        raise UnusableRequest(
            "nothing moves that a person would notice",
            "a fault that shows",
            "Make it larger, or drive another round: --cause vacuum-leak=6mm, --drive mixed.",
        )
    write = Writer(language, wish, Case(State(), knowledge(), taught.made_at))
    figures: list[Figure] = []
    files: dict[str, bytes] = {}
    with style():
        for number, (signal, move, title) in enumerate(_shown(taught.comparison), 1):
            drawing = one_signal(taught.comparison, taught.healthy, taught.faulty, signal, move, title)
            shown = figure(number, drawing, write)
            figures.append(shown)
            files |= {f"exhibit-{number}.svg": shown.svg, f"exhibit-{number}.png": as_png(drawing)}
    return Sheet(_write_up(taught, write, figures), files)


def _shown(comparison: Comparison) -> Iterator[tuple[str, Move | None, str]]:
    """Three signals, each with its clearest move and the point; one of them stays, where one would look for it."""
    moves = [move for move in told(comparison.moves) if move.kind != "state"]
    first = {move.signal: move for move in reversed(moves)}  # the clearest of each signal
    again = [move for move in moves if move is not first[move.signal]]
    moving = [*(move for move in moves if move is first[move.signal]), *again]
    still = {one.signal for one in comparison.still}
    stays = [name for name in STAYS_WORTH_SAYING if name in still and name not in first][:1]
    for move in moving[: EXHIBITS - len(stays)]:
        where = WHERE[move.regime]
        yield move.signal, move, f"{where[:1].upper()}{where[1:]}, {said(move)}"
    for signal in stays:
        words = noticeable()[signal].words
        yield signal, None, f"{words[:1].upper()}{words[1:]} stays as it was"


def _write_up(taught: Taught, write: Writer, figures: Sequence[Figure]) -> WriteUp:
    known = knowledge()
    titles = joined([write.title_of("cause", one) for one in taught.causes], "; ")
    cautions = tuple(dict.fromkeys(text for one in taught.causes for text in known.causes[one].cautions))
    sections = (
        Section("told", write.own("In five sentences"), (Bullets(tuple(_sentences(taught, write))),)),
        Section("shown", write.own("In three exhibits"), tuple(figures)),
        Section("care", write.own("Take care"), (Bullets(tuple(map(write.ours, cautions))),) if cautions else ()),
    )
    day = write.language.day(taught.made_at)
    program = f"airproof {__version__}"
    return WriteUp(
        language=write.language.code,
        title=write.own("Healthy against faulty: {fault}", fault=titles.text),
        facts=((write.own("Written on"), Words(day, write.language.code)),),
        owner=tuple(one for one in sections if one.blocks),
        trade_title=NOTHING,
        trade=(),
        foot=write.own("A rehearsal by {program}: a simulated car, no real one is meant.", program=program),
        labels=labels_of(write.language),
    )


def _sentences(taught: Taught, write: Writer) -> Iterator[Words]:
    """What is wrong; what that does; what moves and what stays; the codes; how one finds it."""
    known = knowledge()
    yield joined([write.ours(one) for one in taught.wrong])
    yield joined([write.ours(sentence(known.causes[one].says)) for one in taught.causes])
    yield write.ours(sentence(the_point(taught.comparison)))
    if taught.codes:
        yield joined([write.own("Codes it sets:"), joined([_code(code, write) for code in taught.codes], "; ")])
    else:
        yield write.own("It sets no code on this drive.")
    steps = [step for one in taught.causes for step in telling_steps(known.steps, one)]
    if steps:
        found = write.ours(steps[0].if_so)
        yield joined([write.own("How one finds it:"), write.ours(sentence(steps[0].title)), found])


def _code(code: str, write: Writer) -> Words:
    entry = explain_code(code, knowledge())
    title = write.ours(entry.area if isinstance(entry, UnlistedCode) else entry.title)
    return joined([write.typed(entry.id), Words(f"({title.text})", title.language)])
