"""What was learned from closed jobs, in plain words: before, after, on how many jobs, and how far to rely on it."""

from __future__ import annotations

from airproof.knowledge.model import NONE, Knowledge
from airproof.repair.learned.sharpen import OTHERWISE, Learned, LearnedNumber
from airproof.report.in_words import Part
from airproof.report.wording import number

NOTICEABLE = 0.1
"""Numbers that moved by less than that, as the logarithm of odds or amounts, are counted but not listed: a tenth."""

IN_SHORT = 8

HEADINGS = {
    "how common": "How common",
    "cures": "What cures",
    "tells": "What steps find",
    "code": "What codes are stored",
    "symptom": "What is complained of",
    "look": "What is seen",
    "minutes": "Minutes",
    "price": "Prices",
}
RELIANCE = (
    "In brackets: between what the number lies, nine times in ten, if the judged number before it is as good as it is "
    "held to be.",
    "Only your own jobs speak here: what you never do, or never write down, cannot be learned.",
)


def in_short(learned: Learned, before: Knowledge) -> tuple[Part, ...]:
    """What moved most, of everything."""
    lines = tuple(_line(one, before) for one in learned.numbers[:IN_SHORT] if one.moved > NOTICEABLE)
    return tuple(part for part in (_answer(learned), Part("most", "What moved most", lines)) if part.lines)


def in_words(learned: Learned, before: Knowledge) -> tuple[Part, ...]:
    """Every number that moved noticeably, by what it is about, what moved most first; `before` is what was judged."""
    parts = [_answer(learned)]
    for about, heading in HEADINGS.items():
        numbers = [one for one in learned.numbers if one.about == about]
        lines = [_line(one, before) for one in numbers if one.moved > NOTICEABLE]
        if numbers and len(lines) < len(numbers):
            rest = len(numbers) - len(lines)
            others = "" if not lines else " other" if rest == 1 else " others"
            lines.append(f"Moved by less than a tenth: {rest}{others}.")
        parts.append(Part(about, heading, tuple(lines)))
    parts.append(Part("sure", "How far to rely on it", RELIANCE if learned.numbers else ()))
    return tuple(part for part in parts if part.lines)


def beside(learned: Learned, shop: str) -> tuple[Part, ...]:
    """That a plan or verdict was reckoned with it, to stand beside it."""
    return (Part("learned", "Learned in your shop", (_used(learned, shop), *learned.remarks)),)


def _used(learned: Learned, shop: str) -> str:
    if not learned.jobs:
        return f"No closed job stands in {shop} yet: all numbers are the judged ones."
    return (
        f"Reckoned with what {jobs_in_words(learned.jobs)} in {shop} taught: {_moved(learned)}. "
        f'"airproof learn --shop {shop} --show" lists them.'
    )


def _moved(learned: Learned) -> str:
    much = sum(1 for one in learned.numbers if one.moved > NOTICEABLE)
    return f"{much} number{'s' if much != 1 else ''} moved by a tenth or more"


def jobs_in_words(jobs: int) -> str:
    """So many closed jobs."""
    return f"{jobs} closed job{'s' if jobs != 1 else ''}"


def _answer(learned: Learned) -> Part:
    if not learned.jobs:
        return Part("answer", "", ("No closed jobs yet: every number is the judged one.",))
    first = f"Learned from {jobs_in_words(learned.jobs)}: {_moved(learned)}."
    return Part("answer", "", (first, *learned.remarks))


def _line(one: LearnedNumber, before: Knowledge) -> str:
    low, high = one.interval
    what, ids = _subject(one, before)
    if one.about == "minutes":
        values = [f"{number(x)}" for x in (one.after, low, high, one.before)]
        unit = " minutes"
    elif one.about == "price":
        values = [f"{number(x, 3)}" for x in (one.after, low, high, one.before)]
        unit = f" {before.prices.currency}"
    else:
        values = [number(100.0 * x) for x in (one.after, low, high, one.before)]
        unit = " in 100"
    after, least, most, judged = values
    rests = f"{one.jobs} job{'s' if one.jobs != 1 else ''}"
    return f"{what}: {after}{unit} ({least} to {most}), before {judged}; {rests}. [{ids}]"


def _subject(one: LearnedNumber, before: Knowledge) -> tuple[str, str]:
    under = _under(one.given, before)
    match one.about:
        case "how common":
            title = before.causes[one.of].title
            return (f"{title}, of all jobs" if one.of == NONE else f"{title}, of all faults"), one.of
        case "cures":
            return f"{before.steps[one.of].title} cures {under.removeprefix('with: ')}", f"{one.of}, {one.given}"
        case "tells":
            step = before.steps[one.of]
            return f'{step.title}: "{step.if_so}" {under}', f"{one.of}, {one.given}"
        case "code":
            return f"{one.of} is stored {under}", f"{one.of}, {one.given}"
        case "symptom":
            return f"{before.symptoms[one.of].title}, {under}", f"{one.of}, {one.given}"
        case "look":
            return f"{before.looks[one.of].title}, {under}", f"{one.of}, {one.given}"
        case "minutes":
            return before.steps[one.of].title, one.of
        case "price":
            title = before.prices.parts[one.of].title
            return title[0].upper() + title[1:], one.of


def _under(given: str, before: Knowledge) -> str:
    if not given:
        return ""
    if given == OTHERWISE:
        return "with any other cause"
    title = before.causes[given].title
    return f"with: {title[0].lower()}{title[1:]}"
