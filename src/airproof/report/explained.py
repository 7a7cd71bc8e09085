"""What is known of one code, cause, symptom, look, history, condition or step, in words and as an object."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from airproof.errors import UnusableRequest
from airproof.knowledge.lookup import UnlistedCode, code_in, explain_code, near, noticed_called
from airproof.knowledge.model import NONE, Cause, Code, Knowledge, Look, Noticed, Prices, Step, Witness
from airproof.report.in_words import Part
from airproof.report.wording import number, sentence

SCHEMA = "airproof.explanation/1"
Known = TypeVar("Known", bound=Witness)
FOREMOST = 6
"""Causes, steps or codes named in words; the object has them all."""


@dataclass(frozen=True)
class Explanation:
    """One entry: `kind` is code, cause, symptom, look, history, condition or step, or list for all of a kind."""

    kind: str
    id: str
    title: str
    parts: tuple[Part, ...]
    entry: Mapping[str, Any]

    def as_object(self) -> dict[str, Any]:
        """The entry as plain data."""
        return {"kind": self.kind, "id": self.id, "title": self.title, **self.entry}


def explain(asked: str, known: Knowledge) -> Explanation:
    """The explanation of what was asked for: by id in any case, by another name of what is noticed, or all of a kind.

    Raises UnusableRequest, naming what is near, where nothing of that name is known.
    """
    word = asked.strip()
    name = word.casefold().replace(" ", "-").replace("_", "-")
    if name in known.causes:
        return _cause(known.causes[name], known)
    if name in known.steps:
        return _step(known.steps[name], known)
    if code_in(word) is not None:
        code = explain_code(word, known)
        return _unlisted(code) if isinstance(code, UnlistedCode) else _code(code, known)
    if name in _LISTED:
        return _list(name, known)
    kinds = _noticed_kinds(known)
    # An id or title goes before another entry's other name.
    for plain in (True, False):
        for kind, (_, entries) in kinds.items():
            found = entries.get(name) if plain else noticed_called(word, entries)
            if found is not None:
                return _noticed(kind, found, known)
    names = [*known.codes, *known.causes, *known.steps, *(name for _, entries in kinds.values() for name in entries)]
    raise UnusableRequest(
        f"nothing is known of {word!r}",
        "a code such as P0106, the id of a cause, symptom, look, history, condition or step, or one of "
        f"{', '.join(_LISTED)}",
        near(word.upper(), known.codes) if re.match(r"[PCBU]\d", word.upper()) else near(name, names),
    )


def _code(code: Code, known: Knowledge) -> Explanation:
    steps = [known.steps[name] for name in code.check_first]
    parts = (
        Part("claims", "What it claims", (sentence(code.claims), *map(sentence, code.says))),
        Part(
            "speaks-for",
            "What it speaks for, strongest first",
            _speaks_for(code, known, "the code is stored {} times as often as by chance"),
        ),
        Part("also-set-by", "What else sets it", tuple(map(sentence, code.also_set_by))),
        Part(
            "not-to-be-mistaken-for",
            "Not to be mistaken for",
            tuple(map(sentence, code.not_to_be_mistaken_for)),
        ),
        Part("check-first", "Check first", tuple(f"{_cost(one, known)} [{one.id}]" for one in steps)),
        _sources(code.source, known),
    )
    entry = {
        "claims": code.claims,
        "says": list(code.says),
        "speaks_for": _weights(code),
        "also_set_by": list(code.also_set_by),
        "not_to_be_mistaken_for": list(code.not_to_be_mistaken_for),
        "check_first": list(code.check_first),
        "source": list(code.source),
    }
    return _explanation("code", code.id, code.title, parts, entry)


def _unlisted(code: UnlistedCode) -> Explanation:
    """A code that could be stored but is not in the lists: only its structure can be read."""
    lines = (code.says,)
    part = Part("claims", "What can be said", lines)
    return _explanation("code", code.id, f"Concerns {code.area}", (part,), {"area": code.area})


_LISTED = ("symptoms", "looks", "history", "conditions", "parts", "tools")


def _noticed_kinds(known: Knowledge) -> dict[str, tuple[str, Mapping[str, Noticed]]]:
    """By kind: the word for all of it, and its entries."""
    return {
        "symptom": ("symptoms", known.symptoms),
        "look": ("looks", known.looks),
        "history": ("history", known.history),
        "condition": ("conditions", known.conditions),
    }


_HOW_OFTEN = {
    "symptom": "it is noticed {} times as often as by chance",
    "look": "it is seen {} times as often as by chance",
    "history": "it is told {} times as often as by chance",
    "condition": "it is told {} times as often as by chance",
}
_TITLES = {
    "symptoms": "What drivers and mechanics notice",
    "looks": "What can be seen or heard on the car",
    "history": "What was done to the car before",
    "conditions": "When the trouble is there",
    "parts": "Parts, as a shop's own prices call them",
    "tools": "Tools, as a shop's own prices call those that it has not",
}


def _list(listed: str, known: Knowledge) -> Explanation:
    if listed == "parts":
        return _parts(known.prices)
    if listed == "tools":
        tools = tuple(sorted({tool for step in known.steps.values() for tool in step.tools}))
        part = Part("entries", "What is known here", tools)
        return _explanation("list", listed, _TITLES[listed], (part,), {"entries": list(tools)})
    entries = next(entries for word, entries in _noticed_kinds(known).values() if word == listed)
    lines = tuple(f"{sentence(one.says)} [{one.id}]" for one in entries.values())
    part = Part("entries", "What is known here", lines)
    return _explanation("list", listed, _TITLES[listed], (part,), {"entries": list(entries)})


def _parts(prices: Prices) -> Explanation:
    lines = tuple(
        f"{sentence(one.title)} Usually about {one.typical:.0f} {prices.currency}, {one.low:.0f} to {one.high:.0f}. "
        f"[{one.id}]"
        for one in prices.parts.values()
    )
    part = Part("entries", "What is known here", lines)
    return _explanation("list", "parts", _TITLES["parts"], (part,), {"entries": list(prices.parts)})


def _noticed(kind: str, one: Noticed, known: Knowledge) -> Explanation:
    called = (f"Also called: {', '.join(one.also_called)}.",) if one.also_called else ()
    absent = (f"Looked for and not there: {_small(sentence(one.if_not))}",) if isinstance(one, Look) else ()
    step = known.steps[one.step] if isinstance(one, Look) and one.step else None
    against = [c for c, p in one.sets.items() if p < one.by_chance]
    parts = (
        Part("says", "What it is", (sentence(one.says), *absent, *called)),
        Part("speaks-for", "What it speaks for, strongest first", _speaks_for(one, known, _HOW_OFTEN[kind])),
        Part(
            "speaks-against",
            "What it speaks against",
            tuple(f"{known.causes[c].title}. [{c}]" for c in sorted(against, key=one.given)[:FOREMOST]),
        ),
        Part("detail-of", "A detail of", () if step is None else (f"{_cost(step, known)} [{step.id}]",)),
        _sources(one.source, known),
    )
    entry = {
        "says": one.says,
        "also_called": list(one.also_called),
        "speaks_for": _weights(one),
        "family": one.family,
        "source": list(one.source),
    }
    if isinstance(one, Look):
        entry |= {"if_not": one.if_not, "step": one.step}
    return _explanation(kind, one.id, one.title, parts, entry)


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _cause(cause: Cause, known: Knowledge) -> Explanation:
    size = cause.size
    sizes = (
        (
            f"Sizes that are noticed: {number(size.low)} to {number(size.high)} {cause.unit}, mostly near "
            f"{number(size.typical)}{', up or down' if size.signed else ''}.",
        )
        if size
        else ()
    )
    told = telling_steps(known.steps, cause.id)
    cured = sorted((s for s in known.steps.values() if cause.id in s.cures), key=lambda s: -s.cures[cause.id])
    codes = sorted(
        ((_decibans(c, cause.id), c) for c in known.codes.values() if cause.id in c.sets),
        key=lambda pair: -pair[0],
    )
    parts = (
        Part("says", "What it is", (sentence(cause.says), *sizes)),
        Part(
            "codes",
            "Codes that come with it and speak for it",
            tuple(f"{c.id} {c.title}" for c in _telling([c for _, c in codes], cause.id)),
        ),
        Part("looks", "What is seen or told with it and speaks for it", _seen_with(cause.id, known)),
        Part("told-by", "What tells", tuple(f"{_cost(s, known)} [{s.id}]" for s in told[:FOREMOST])),
        Part(
            "cured-by",
            "What to do" if cause.id == NONE else "What cures",
            tuple(f"{_cost(s, known)} {_success(cause.id, s.cures[cause.id])}. [{s.id}]" for s in cured[:FOREMOST]),
        ),
        Part("cautions", "Take care", tuple(map(sentence, cause.cautions))),
        _sources(cause.source, known),
    )
    entry = {
        "says": cause.says,
        "unit": cause.unit,
        "codes": [c.id for _, c in codes],
        "told_by": [s.id for s in told],
        "cured_by": {s.id: s.cures[cause.id] for s in cured},
        "cautions": list(cause.cautions),
        "source": list(cause.source),
    }
    return _explanation("cause", cause.id, cause.title, parts, entry)


def _seen_with(cause: str, known: Knowledge) -> tuple[str, ...]:
    entries = [one for _, entries in _noticed_kinds(known).values() for one in entries.values() if cause in one.sets]
    return tuple(f"{one.title}. [{one.id}]" for one in _telling(entries, cause))


def _telling(entries: Sequence[Known], cause: str) -> list[Known]:
    """Those that speak for the cause, by what they tell on average: what is rare but damning is seldom there."""
    speaking = [one for one in entries if one.given(cause) > one.by_chance]
    return sorted(speaking, key=lambda one: -one.given(cause) * _decibans(one, cause))[:FOREMOST]


def _step(step: Step, known: Knowledge) -> Explanation:
    outcome: tuple[str, ...] = ()
    if step.tells:
        raised = sorted(step.tells, key=lambda c: -step.tells[c] / (step.otherwise or 1.0))
        names = [known.causes[c].title for c in raised if step.tells[c] > (step.otherwise or 0.0)][:FOREMOST]
        outcome = (
            f"{sentence(step.if_so)} Then look at: {'; '.join(names)}." if names else sentence(step.if_so),
            f"Or: {sentence(step.if_not)}",
        )
    cures = sorted(step.cures.items(), key=lambda pair: -pair[1])[:FOREMOST]
    parts = (
        Part("cost", "What it takes", (_cost(step, known, named=False), *_tools(step))),
        Part("how", "How", tuple(map(sentence, step.how))),
        Part("outcome", "What it tells", outcome),
        Part(
            "cures",
            "What comes of it" if set(step.cures) == {NONE} else "What it cures",
            tuple(
                f"{_success(c, p)}." if c == NONE else f"{known.causes[c].title}: {100 * p:.0f} in 100."
                for c, p in cures
            ),
        ),
        Part("after", "First comes", tuple(known.steps[name].title for name in step.after)),
        Part("cautions", "Take care", tuple(map(sentence, step.cautions))),
        _sources(step.source, known),
    )
    entry = {
        "minutes": step.minutes,
        "money": known.prices.part(step.part),
        "currency": known.prices.currency,
        "how": list(step.how),
        "tools": list(step.tools),
        "tells": dict(step.tells),
        "otherwise": step.otherwise,
        "if_so": step.if_so,
        "if_not": step.if_not,
        "cures": dict(step.cures),
        "after": list(step.after),
        "cautions": list(step.cautions),
        "source": list(step.source),
    }
    return _explanation("step", step.id, step.title, parts, entry)


def _explanation(kind: str, name: str, title: str, parts: tuple[Part, ...], entry: Mapping[str, Any]) -> Explanation:
    return Explanation(kind, name, title, tuple(part for part in parts if part.lines), entry)


def _success(cause: str, share: float) -> str:
    """How often a step cures a cause; where nothing is wrong there is nothing to cure."""
    often = f"in {100 * share:.0f} of 100 cars"
    return f"Where nothing is wrong, nothing comes back {often}" if cause == NONE else f"It cures this {often}"


def _tools(step: Step) -> tuple[str, ...]:
    return (f"Tools: {', '.join(step.tools)}.",) if step.tools else ()


def _cost(step: Step, known: Knowledge, *, named: bool = True) -> str:
    money = known.prices.part(step.part)
    price = f", about {money:.0f} {known.prices.currency} for parts" if money >= 0.5 else ""
    cost = f"{step.minutes:.0f} minutes{price}"
    return f"{step.title} ({cost})." if named else sentence(cost)


def _decibans(witness: Witness, cause: str) -> float:
    return 10.0 * math.log10(witness.given(cause) / witness.by_chance)


def _weights(witness: Witness) -> list[dict[str, Any]]:
    """Every cause it speaks for or against, with decibans against what happens by chance, strongest first."""
    ranked = sorted(witness.sets, key=lambda c: -_decibans(witness, c))
    return [{"cause": c, "decibans": round(_decibans(witness, c), 2), "probability": witness.sets[c]} for c in ranked]


def _speaks_for(witness: Witness, known: Knowledge, how_often: str) -> tuple[str, ...]:
    """One line for each cause; `how_often` has a place for the number of times."""
    lines = []
    for weight in _weights(witness)[:FOREMOST]:
        if weight["decibans"] <= 0.0:
            continue
        times, cause = number(10.0 ** (weight["decibans"] / 10.0)), weight["cause"]
        lines.append(f"{known.causes[cause].title}: with this fault {how_often.format(times)}. [{cause}]")
    return tuple(lines)


def telling_steps(steps: Mapping[str, Step], cause: str) -> list[Step]:
    """Steps whose outcome differs most between this cause and others, for the minutes they take."""

    def worth(step: Step) -> float:
        otherwise = step.otherwise if step.otherwise is not None else 0.5
        return abs(math.log(step.positive_given(cause) / otherwise)) / (step.minutes + 10.0)

    telling = [step for step in steps.values() if cause in step.tells and cause != NONE]
    return sorted(telling, key=lambda step: -worth(step))


def _sources(keys: tuple[str, ...], known: Knowledge) -> Part:
    lines = tuple(
        f"{known.sources[k].title} ({known.sources[k].standing})." if k in known.sources else sentence(k) for k in keys
    )
    return Part("sources", "Where this is from", lines)
