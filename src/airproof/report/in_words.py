"""The verdict in plain words: first the answer that a tired person understands in ten seconds, then why."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

import tomli

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.verdict import CauseVerdict, Evidence, Size, Verdict
from airproof.diagnosis.weighing import Weighing
from airproof.errors import BrokenKnowledge
from airproof.knowledge.model import NONE
from airproof.recording.recording import ColumnReading, Recording
from airproof.report.wording import clock, duration, in_hundred, sentence, with_interval

if TYPE_CHECKING:
    from airproof.repair.plan import NextStep, Plan

CLEAR, PROBABLE, POSSIBLE = 0.90, 0.60, 0.30
"""From these probabilities on an answer is said plainly, as probable, as possible; judged: Airproof authors,
so that a plain sentence is wrong less than once in ten."""

WORTH_NAMING = 0.02  # other causes less probable than this are left to the JSON
STRONGEST = 3
ODD_ONES_NAMED = 3
VAGUE_PERCENT = (-50.0, 100.0)  # a healthy range that reaches further tells nobody anything; judged: Airproof authors
PICTURE = "picture-"  # begins the names of what the whole picture shows at its places
ANY_USUAL_PRICE = 3.0  # of the typical price: no part is worth naming a limit beyond
AGAINST_DECIBANS = -3.0  # what speaks against the answer by two to one or more is said too
WEIGHTS = ((20.0, "very strongly"), (10.0, "strongly"), (5.0, "clearly"), (2.0, "a little"))
"""Decibans and the word for them: a hundred to one, ten to one, three to one. The bounds at 5, 10 and 20 are
from memory of Jeffreys, Theory of Probability, appendix B; the words are ours."""

REPLACE = "replace-map-sensor"
HEADINGS_NAMED = 8
GUESSES_IN_FULL = 3
REMARKS_SHOWN = 6
PLAIN_RATIO = "1"  # the unit of what has none
AS_ANYONE_EXPECTS = re.compile(r": time in s$")  # a remark that tells nobody anything; the JSON keeps it
IN_JSON = "--json lists them all with the reasons"


@dataclass(frozen=True)
class Part:
    """One paragraph of the verdict: a heading (empty for the answer itself) and its lines."""

    id: str
    heading: str
    lines: tuple[str, ...]


def in_words(weighing: Weighing, plan: Plan | None = None, recordings: Sequence[Recording] = ()) -> tuple[Part, ...]:
    """The whole verdict as parts in reading order; parts with nothing to say are left out."""
    verdict = weighing.verdict
    parts = [Part("answer", "", answer(verdict))]
    if verdict.refusal is None:
        parts += [
            Part("why", "Why", (*when(weighing), *_why(verdict))),
            Part("else", "What else it could be", _what_else(verdict)),
            Part("cannot-tell", "What this cannot tell", tuple(map(sentence, verdict.cannot_tell))),
            Part("next", "Next step", () if plan is None else _next_step(plan)),
        ]
    parts += [
        Part("cautions", "Take care", tuple(map(sentence, cautions_of(verdict, plan)))),
        Part("read", "What was read", _what_was_read(weighing, recordings or (weighing.recording,))),
    ]
    return tuple(part for part in parts if part.lines)


def when(weighing: Weighing) -> tuple[str, ...]:
    """Of what time the verdict is, where the trouble seems not to have been there all along; else nothing."""
    if weighing.there is None:
        return ()
    first, *more = (f"{clock(start)} to {clock(end)}" for start, end in weighing.there)
    others = f", and {len(more)} more" if more else ""
    return (f"The trouble seems not to have been there all along: judged where it shows most, {first}{others}.",)


def cautions_of(verdict: Verdict, plan: Plan | None) -> tuple[str, ...]:
    """Each caution once; where nothing is judged, only the one that holds for any work on an engine."""
    if verdict.refusal is not None:
        from airproof.diagnosis.weigh import STANDING_CAUTIONS  # heavy, and explaining a code needs none of it

        return STANDING_CAUTIONS[-1:]
    return tuple(dict.fromkeys((*(plan.cautions if plan else ()), *verdict.cautions)))


def as_text(parts: Sequence[Part]) -> str:
    """The parts as plain text, unwrapped; headings on lines of their own."""
    blocks = []
    for part in parts:
        lines = [part.heading, *(f"  {line}" for line in part.lines)] if part.heading else list(part.lines)
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks) + "\n"


def answer(verdict: Verdict) -> tuple[str, ...]:
    """What is wrong, how much, how sure, or why nothing is judged; and what is to be cleared up first."""
    return (*_answer(verdict), *(f"First clear this up: {doubt.removesuffix('.')}." for doubt in verdict.doubts))


def _answer(verdict: Verdict) -> tuple[str, ...]:
    """One or two lines."""
    if verdict.refusal is not None:
        return ("This is not judged.", sentence(verdict.refusal))
    first = verdict.first
    chance, p = in_hundred(first.probability), first.probability
    if first.id == NONE:
        if p >= PROBABLE:
            return (f"Nothing wrong that this {_basis(verdict)} can show. Chance: {chance}.",)
        return (f"This {_basis(verdict)} cannot tell. Chance that nothing is wrong: {chance}.",)
    said = said_of(first)
    if p >= CLEAR:
        return (f"{said}. Chance: {chance}.",)
    if p >= PROBABLE:
        return (f"Probably: {_small(said)}. Chance: {chance}.",)
    if p >= POSSIBLE:
        return (f"Not sure. Perhaps: {_small(said)}. Chance: {chance}.",)
    return (f"Cannot tell from this. No cause stands out; foremost of many: {_small(said)}. Chance: {chance}.",)


def _basis(verdict: Verdict) -> str:
    """What a verdict rests on, in a word: a recording, or only what was told."""
    return "recording" if any(verdict.regimes_s.values()) or verdict.timeline else "evidence"


@cache
def _answers() -> dict[str, dict[str, str]]:
    text = (resources.files("airproof.report") / "data" / "answers.toml").read_text(encoding="utf-8")
    answers: dict[str, dict[str, str]] = tomli.loads(text)
    for cause, forms in answers.items():
        if not set(forms) <= {"high", "low", "is", "unsized", "unit"}:
            raise BrokenKnowledge(
                f"keys {', '.join(forms)}",
                "high, low, is, unsized or unit",
                "This is a fault of ours: please report it.",
                where=f"answers.toml, {cause}",
            )
    return answers


def said_of(cause: CauseVerdict) -> str:
    """The cause in one sentence with its size and the interval, without a full stop."""
    forms = _answers().get(cause.id, {})
    size = cause.size
    if size is None or not size.told:
        return _unsized(cause)
    unit = forms.get("unit", size.unit)
    if size.low < 0.0 < size.high:
        _, low, high = with_interval(size.value, size.low, size.high)
        return f"{_unsized(cause)} (either way: {low} to {high} {unit})"
    form = forms.get("high" if size.value >= 0.0 else "low") or forms.get("is")
    if size.beyond:
        return _at_least(form, cause, size, unit)
    if form is None:
        value, low, high = with_interval(size.value, size.low, size.high)
        return f"{cause.title} ({value} {unit}, {low} to {high})"
    sign = -1.0 if size.value < 0.0 else 1.0
    value, low, high = with_interval(*_turned(size, sign))
    if "{size}" not in form:
        return f"{form} (about {value} {unit}, {low} to {high})"
    return f"{form.format(size=f'{value} {unit}')} ({low} to {high})"


def _at_least(form: str | None, cause: CauseVerdict, size: Size, unit: str) -> str:
    """The cause with the nearest end of its interval: where the far one lies is beyond what is reckoned with."""
    _, low, _ = with_interval(*_turned(size, -1.0 if size.value < 0.0 else 1.0))
    if form is not None and "{size}" in form:
        return f"{form.format(size=f'{low} {unit}')} (or more)"
    return f"{form or cause.title} (about {low} {unit} or more)"


def _unsized(cause: CauseVerdict) -> str:
    forms = _answers().get(cause.id, {})
    return forms.get("unsized") or forms.get("is", cause.title)


def _turned(size: Size, sign: float) -> tuple[float, float, float]:
    """Value, low and high of the size times sign, low still below high."""
    low, high = sorted((sign * size.low, sign * size.high))
    return sign * size.value, low, high


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def strength(decibans: float) -> str:
    """How strongly evidence speaks, in a word or two."""
    return next((word for least, word in WEIGHTS if abs(decibans) >= least), "hardly")


def vague(finding: Finding | None) -> bool:
    """Whether the healthy range is so wide that a value inside it tells a reader nothing."""
    if finding is None or finding.unit != "%" or finding.unexpected:
        return False
    low, high = finding.expected
    return low < VAGUE_PERCENT[0] or high > VAGUE_PERCENT[1]


def telling(verdict: Verdict, cause: CauseVerdict) -> list[Evidence]:
    """What speaks for the cause and can be followed: not the whole picture, nothing vague; strongest first."""
    return [e for e in _for_a(cause, verdict) if not is_picture(e)]


def _told(cause: CauseVerdict, verdict: Verdict) -> list[Evidence]:
    findings = {finding.id: finding for finding in verdict.findings}
    return [e for e in cause.evidence if e.finding != "before" and not vague(findings.get(e.finding))]


def _for_a(cause: CauseVerdict, verdict: Verdict) -> list[Evidence]:
    told = _told(cause, verdict)
    return sorted((e for e in told if weight_of(e) >= WEIGHTS[-1][0]), key=lambda e: -weight_of(e))


def _why(verdict: Verdict) -> tuple[str, ...]:
    cause = verdict.first
    findings = {finding.id: finding for finding in verdict.findings}
    told, for_it = _told(cause, verdict), _for_a(cause, verdict)
    # One thing measured is easier to follow than a whole picture, which comes after and only once.
    strongest = telling(verdict, cause)[:STRONGEST]
    strongest += [e for e in for_it if is_picture(e)][:1]
    against = sorted((e for e in told if weight_of(e) <= AGAINST_DECIBANS), key=weight_of)[:1]
    lines = [_weighed(e, _for_it(cause, findings.get(e.finding))) for e in strongest]
    lines += [_weighed(e, "That speaks {} against it") for e in against]
    if cause.id == NONE:
        already = {e.finding for e in (*strongest, *against)}
        lines = [*_counted(verdict.findings, already), *lines]
    return tuple(lines) or ("No single piece of evidence speaks up: this is how common it is to begin with.",)


def is_picture(evidence: Evidence) -> bool:
    """Whether the evidence is a place of the whole picture."""
    return evidence.finding.startswith(PICTURE)


def _counted(findings: Sequence[Finding], already: Collection[str]) -> list[str]:
    """How many of the checks a healthy engine passes, and which it does not, unless they are told `already`."""
    measured = [f for f in findings if f.unit and not vague(f) and not f.id.startswith(PICTURE)]
    odd = [finding for finding in measured if finding.unexpected]
    if not measured:
        return []
    usual = len(measured) - len(odd)
    if len(measured) == 1:
        first = f"The one thing checked {'lies' if usual else 'does not lie'} where a healthy engine has it."
    elif not odd:
        first = f"All {len(measured)} things checked lie where a healthy engine has them."
    else:
        some = f"{usual} {'lies' if usual == 1 else 'lie'}" if usual else "none lies"
        first = f"Of {len(measured)} things checked, {some} where a healthy engine has them."
    return [first, *(f"Not there: {sentence(f.says)}" for f in odd[:ODD_ONES_NAMED] if f.id not in already)]


def weight_of(evidence: Evidence) -> float:
    """What a reader wants to know of one piece of evidence: what it says heard alone, not its share among its like."""
    return evidence.decibans if evidence.alone is None else evidence.alone


def _for_it(cause: CauseVerdict, finding: Finding | None) -> str:
    if cause.id != NONE and finding is not None and finding.unit and not finding.unexpected:
        if finding.id.startswith(PICTURE):  # as usual as a whole, though what is named of it may lie out
            return (
                "A healthy engine may show one or other of them, yet together they are likelier with this fault: they "
                "speak {} for it"
            )
        return "A healthy engine may show that too, yet it is likelier with this fault: it speaks {} for it"
    return "That speaks {} for it"


def _weighed(evidence: Evidence, verb: str) -> str:
    decibans = round(weight_of(evidence))
    return f"{sentence(evidence.says)} {verb.format(strength(decibans))} ({decibans:+d} decibans)."


def _what_else(verdict: Verdict) -> tuple[str, ...]:
    others = [c for c in verdict.causes[1:4] if c.probability >= WORTH_NAMING]
    if not others:
        return ()
    return tuple(f"{said_of(c)}: {in_hundred(c.probability)}." for c in others)


def cost_of(step: NextStep, currency: str) -> str:
    """What a step takes by itself: "50 USD and 25 minutes"."""
    return _cost(step.money, step.minutes, currency)


def _next_step(plan: Plan) -> tuple[str, ...]:
    if not plan.next_steps:
        return ()
    step, habit = plan.next_steps[0], plan.habit
    total = _cost(step.expected_total_money, step.expected_total_minutes, plan.currency)
    lines = [f"{step.title}: {cost_of(step, plan.currency)}. [{step.id}]"]
    if step.why:
        lines.append(sentence(step.why))
    lines.append(f"The whole repair, begun this way, is expected to take {total}.")
    if habit is None:
        return tuple(lines)
    now = _cost(habit.replace_now_expected_money, habit.replace_now_expected_minutes, plan.currency)
    price = habit.worth_it_below_part_price
    if step.id == REPLACE:
        if price is None:
            limit = ""
        elif price > ANY_USUAL_PRICE * step.money > 0.0:
            limit = ", at any usual price of the part"
        else:
            limit = f", as long as it costs {below(price, plan.currency)}"
        lines.append(f"Fitting a new sensor at once is right here{limit}.")
    elif price is None:
        lines.append(f"Begun with a new sensor out of habit: {now}; not worth it even if the sensor cost nothing.")
    else:
        limit = below(price, plan.currency)
        lines.append(f"Begun with a new sensor out of habit: {now}; worth it only if the part costs {limit}.")
    return tuple(lines)


def _cost(money: float, minutes: float, currency: str) -> str:
    spent = f"{_money(money, currency)} and " if money >= 0.5 else ""
    return f"{spent}{minutes:.0f} minutes"


def below(price: float, currency: str) -> str:
    """What something must cost: "less than 40 USD"."""
    return f"less than {_money(price, currency)}" if price >= 0.5 else "next to nothing"


def _money(amount: float, currency: str) -> str:
    return f"{amount:.0f} {currency}"


def _what_was_read(weighing: Weighing, recordings: Sequence[Recording]) -> tuple[str, ...]:
    lines = []
    if not any(one.signals for one in recordings):
        lines.append("No recording: what was told, seen and read by hand is all there is.")
    for one in recordings:
        if not one.label:
            continue  # it stands for no recording
        report = one.report
        rows = f", {report.rows_read} rows" if report.rows_read else ""
        aside = f", {report.rows_set_aside} of them set aside" if report.rows_set_aside else ""
        lines.append(f"{one.label}: {duration(one.duration_s)}, {len(one.signals)} signals{rows}{aside}.")
    regimes = [f"{name} {duration(s)}" for name, s in weighing.verdict.regimes_s.items() if s >= 0.5]
    other = sum(one.duration_s for one in recordings) - sum(weighing.verdict.regimes_s.values())
    if regimes and other >= 1.0:
        regimes.append(f"in between {duration(other)}")
    if regimes:
        lines.append(f"In it: {', '.join(regimes)}.")
    columns = [column for one in recordings for column in one.report.columns]
    lines += _by_file(recordings, lambda one: _guessed([c for c in one.report.columns if c.how == "guessed"]))
    remarks = _by_file(
        recordings, lambda one: [sentence(r) for r in one.report.remarks if not AS_ANYONE_EXPECTS.search(r)]
    )
    lines += remarks[:REMARKS_SHOWN]
    if len(remarks) > REMARKS_SHOWN:
        lines.append(f"And {len(remarks) - REMARKS_SHOWN} more remarks like these; {IN_JSON}.")
    if left_out := _left_out(columns):
        lines.append(left_out)
    lines.append(f"Barometer: {weighing.barometer.says}.")
    if weighing.profile.assumed and weighing.verdict.refusal is None:
        lines.append(f"Taken for granted, since the engine file does not say: {'; '.join(weighing.profile.assumed)}.")
    return tuple(lines)


def _by_file(recordings: Sequence[Recording], lines_of: Callable[[Recording], list[str]]) -> list[str]:
    """The lines of each recording; where there are several, with the files that each is said of, and said once."""
    said: dict[str, list[str]] = {}
    for one in recordings:
        for line in lines_of(one):
            said.setdefault(line, []).append(one.label)
    if len(recordings) < 2:
        return list(said)
    return [f"{', '.join(dict.fromkeys(labels))}: {line}" for line, labels in said.items()]


def _guessed(columns: Sequence[ColumnReading]) -> list[str]:
    if len(columns) <= GUESSES_IN_FULL:
        ratios = [_name(c) for c in columns if c.unit == PLAIN_RATIO]
        said = [f"Guessed: {sentence(c.says)}" for c in columns if c.unit != PLAIN_RATIO]
        return [*said, *([f"Taken as a plain ratio, since no unit is stated: {', '.join(ratios)}."] if ratios else [])]
    units = ", ".join(map(_taken_as, columns))
    way_out = f"If one is wrong, use --signals; {IN_JSON}."
    return [f"Units not stated in the file and guessed from the values: {units}. {way_out}"]


def _taken_as(column: ColumnReading) -> str:
    return f"{_name(column)} {'as a plain ratio' if column.unit == PLAIN_RATIO else f'in {column.unit}'}"


def _name(column: ColumnReading) -> str:
    return (column.signal or column.heading).replace("_", " ")


def _left_out(columns: Sequence[ColumnReading]) -> str:
    names = list(dict.fromkeys(c.heading for c in columns if c.how == "left out" or c.signal is None))
    if not names:
        return ""
    shown = ", ".join(names[:HEADINGS_NAMED])
    more = f" and {len(names) - HEADINGS_NAMED} more" if len(names) > HEADINGS_NAMED else ""
    return f"Left out: {shown}{more}; {IN_JSON}."
