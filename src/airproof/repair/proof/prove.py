"""Proving: from the recordings before and after a repair, and what was done, to the judgement."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from airproof.diagnosis.conditions import UNKNOWN_PLACE
from airproof.diagnosis.examine import HEALTHY_WITHOUT_COMPLAINT, refusal_of
from airproof.diagnosis.gaps import too_little
from airproof.diagnosis.hypotheses import hypotheses_for
from airproof.diagnosis.misread import misread
from airproof.diagnosis.network import Layout, as_testimonies
from airproof.diagnosis.self_contradiction import unboosted
from airproof.diagnosis.told import told_of
from airproof.diagnosis.weighing import Barometer, Weighing
from airproof.engine.profile import EngineProfile
from airproof.errors import UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.knowledge.lookup import near
from airproof.knowledge.model import NONE, Cause, Fuel, Knowledge, Step
from airproof.recording.recording import Interval, Recording
from airproof.repair.proof.after import Said, codes_after, evidence_after
from airproof.repair.proof.alone import ByItself, weighed_by_itself
from airproof.repair.proof.changes import finding_changes, size_change
from airproof.repair.proof.courses import Asked, Found, asked, even, found, priors_of
from airproof.repair.proof.drive_plan import drive_for
from airproof.repair.proof.holding import felt_again, holding_of
from airproof.repair.proof.judged import judged
from airproof.repair.proof.judgement import in_a_sentence
from airproof.repair.proof.missing import codes_back, compared, evidence_short, missing_of
from airproof.repair.proof.odd import odd_after
from airproof.repair.proof.proof import LOST, OUTCOMES, Missing, Outcome, Proof
from airproof.repair.proof.resolves import resolves
from airproof.repair.proof.shows_after import what_shows
from airproof.repair.proof.sides import Side, Sides, sides_of
from airproof.repair.proof.spells import spells_after
from airproof.repair.proof.standing import Standing
from airproof.repair.proof.stretches import drive
from airproof.repair.proof.taken_out import taken_out
from airproof.repair.proof.usual_fuel import on_usual_fuel
from airproof.repair.proof.witnesses import AloneWitness
from airproof.repair.proof.words import in_hundred, in_small

WORTH_NAMING = 0.02
CHANGES_OF_A_SENSOR = "replace"  # kinds of step after which a part has a tolerance of its own

STANDING = (
    "A proof rests on models of healthy engines and judged numbers, and on these recordings only: it is no warranty.",
    "Work by the maker's service data and local rules; erase codes only after everything readable has been saved.",
)


@dataclass(frozen=True)
class Before:
    """The car before the repair: its recordings, its day, and what a verdict made of all that was known.

    `probability` of every cause; `there`: the stretches in which the likeliest cause was there; `codes` with status.
    """

    recordings: tuple[Recording, ...]
    probability: Mapping[str, float]
    barometer: Barometer | None = None
    ambient_c: float | None = None
    there: tuple[tuple[float, float], ...] | None = None
    codes: Mapping[str, str] = field(default_factory=dict)

    @property
    def likeliest(self) -> str:
        """The likeliest of all that may be wrong."""
        return max((c for c in self.probability if c != NONE), key=lambda c: self.probability[c], default=NONE)

    @classmethod
    def weighed(
        cls,
        weighing: Weighing,
        barometer: Barometer | None = None,
        ambient_c: float | None = None,
        codes: Mapping[str, str] | None = None,
        probability: Mapping[str, float] | None = None,
    ) -> Before:
        """From a weighing, with the day it was given; `probability` goes before that of the weighing.

        Raises UnusableRequest where nothing was judged there.
        """
        if weighing.verdict.refusal is not None:
            raise UnusableRequest(
                f"the recording before is not judged: {weighing.verdict.refusal}",
                "a recording that can be",
                "Put that right, or record again.",
            )
        believed = probability or {one.id: one.probability for one in weighing.verdict.causes}
        return cls((weighing.recording,), believed, barometer, ambient_c, weighing.there, codes or {})


@dataclass(frozen=True)
class AfterRepair:
    """The car after it: its recordings, its day, what it says itself, and its fuel, if another than usual."""

    recordings: tuple[Recording, ...]
    barometer: Barometer | None = None
    ambient_c: float | None = None
    said: Said = field(default_factory=Said)
    fuel: Fuel | None = None


@dataclass(frozen=True)
class Done:
    """What was done: steps by id; `cause`: what it was to mend, where somebody says so."""

    steps: tuple[str, ...] = ()
    cause: str | None = None


def prove(
    before: Before,
    after: AfterRepair,
    done: Done,
    profile: EngineProfile,
    *,
    baselines: Sequence[Recording] = (),
    sisters: Sequence[Recording] = (),
    known: Knowledge | None = None,
) -> Proof:
    """Judge a repair; see docs/proof.md.

    Raises UnusableRequest for a step or cause that is not known, or where there is no recording before or after.
    """
    known = known or knowledge()
    steps = check_done(done, known)
    if not before.recordings or not after.recordings:
        raise UnusableRequest(
            "no recording on one side", "a recording before and one after the repair", "Record the same drive again."
        )
    signals = frozenset(name for one in before.recordings for name in one)
    hypotheses = hypotheses_for(known, profile, signals, healthy_share=HEALTHY_WITHOUT_COMPLAINT)
    both = partial(
        sides_of, Side(before.recordings, before.barometer, before.ambient_c, before.there), profile=profile,
        hypotheses=hypotheses, baselines=baselines, sisters=sisters,
        replaced=any(step.kind == CHANGES_OF_A_SENSOR for step in steps),
    )  # fmt: skip
    now = Side(after.recordings, after.barometer, after.ambient_c, fuel=after.fuel)
    sides = both(now)
    # A wrong heading loses the signal that it stands over: that is no fault of the car, nor of the new part.
    there = after.barometer or UNKNOWN_PLACE
    refused = (
        too_little(sides.after, anything_else=False)
        or (misread(after.recordings, profile, there) if profile.throttled else None)
        or refusal_of(sides.after)
    )
    if refused is not None:
        return _refused(refused, before, after, done, sides, known)
    still = spells_after(_mended(before.probability, done, steps, known), sides.after)
    if still is not None:
        sides = both(replace(now, there=still))
    followed = [done.cause] if done.cause in hypotheses.sizes and done.cause != NONE else []
    put = asked(sides, hypotheses, before.probability, [one for one in followed if one is not None])
    put = _with_codes(put, after.said, before.codes, known)
    weighed = found(put)
    # Another fuel shifts the trims, which a verdict by itself would take for a fault.
    alone = partial(
        weighed_by_itself, [on_usual_fuel(one, profile, after.fuel) for one in after.recordings], profile,
        after.barometer, after.ambient_c, baselines=baselines, sisters=sisters,
        facts=evidence_after(after.said, before.codes, known), known=known,
    )  # fmt: skip
    return _told(weighed, before, after, done, steps, known, alone, still)


def check_done(done: Done, known: Knowledge) -> list[Step]:
    """The steps that were done; raises UnusableRequest for a step that mends nothing, or a cause that is none."""
    if done.cause is not None and done.cause not in known.causes:
        given = f"{done.cause!r} is not a cause"
        raise UnusableRequest(given, "the id of a cause", near(done.cause, known.causes))
    return [_step(name, known) for name in done.steps]


def _step(name: str, known: Knowledge) -> Step:
    step = known.steps.get(name)
    if step is None or not step.cures:
        cures = [one.id for one in known.steps.values() if one.cures]
        raise UnusableRequest(f"{name!r} is no step that mends", "the id of one that does", near(name, cures))
    return step


def _with_codes(put: Asked, said: Said, before: Mapping[str, str], known: Knowledge) -> Asked:
    """Codes and readiness after the repair are one more witness of what is wrong after."""
    facts = evidence_after(said, before, known)
    sizes = put.sides.after.sizes
    told = told_of(facts, known, sizes, fuel=put.sides.after.profile.fuel)
    if not told:
        return put
    more = [AloneWitness(one) for one in as_testimonies(told, Layout.of(sizes))]
    return replace(put, witnesses=(*put.witnesses, *more))


def _told(
    weighed: Found,
    before: Before,
    after: AfterRepair,
    done: Done,
    steps: Sequence[Step],
    known: Knowledge,
    alone: Callable[[], ByItself | None],
    still: Sequence[Interval] | None,
) -> Proof:
    numbers, sides, said = judged(), weighed.asked.sides, after.said
    followed = list(weighed.asked.before)
    priors = priors_of(steps, followed, numbers)
    outcomes, evens = weighed.outcomes(priors), weighed.outcomes(even(priors))
    if said.returned:
        outcomes, evens = _felt(outcomes), _felt(evens)
    cause = _mended(weighed.causes_before(priors), done, steps, known)
    needs = drive().causes.get(cause.id) if cause is not None else None
    size = None if cause is None else size_change(weighed, cause)
    shows = None if cause is None or size is None else resolves(weighed.asked, cause)
    codes = codes_after(said, before.codes, None if cause is None else cause.id, known)
    odd = [] if cause is None or cause.id not in weighed.asked.before else odd_after(weighed.asked, cause.id)
    there = before.there if cause is not None and cause.id == before.likeliest else None
    others = {c: p for c, p in weighed.something_else(priors).items() if p >= WORTH_NAMING}
    likeliest = max(outcomes, key=lambda one: outcomes[one])
    new = next(iter(others), None) if likeliest == "something else" else None
    now = what_shows(new, cause, steps, known)
    if lost := any(one.what == LOST for one in now):
        size = None
    missing = (*now, *codes_back(codes), *odd, *missing_of(cause, needs, sides, size, shows, said, there, still))
    stand = Standing(outcomes, evens, others, missing)
    if stand.judgement == "proved" or stand.else_is_open:
        stand = stand.asked_alone(alone(), cause, known, believe=not said.returned)  # of that it does not know
    judgement = stand.judgement
    changes = finding_changes(sides)
    says = in_a_sentence(
        judgement, cause, needs, stand.outcomes, stand.evens, size, changes, stand.missing, stand.others,
        numbers, known,
    )  # fmt: skip
    short = judgement == "not proved yet" and not any(one.needed for one in stand.missing)
    missing = (*stand.missing, evidence_short()) if short else stand.missing
    settled = judgement in ("proved", "nothing to prove", "not fixed")
    gone = stand.outcomes["fixed"] + stand.outcomes["something else"]
    holding = (
        None
        if judgement == "nothing to prove" or cause is None or lost
        else holding_of(gone, cause.id, steps, said.days, returned=said.returned)
    )
    again = needs.needs if short and needs is not None else {}
    path = drive_for([one for one in missing if one.needed or not settled], codes, again)
    return Proof(
        judgement=judgement,
        says=says,
        cause=None if cause is None else cause.id,
        cause_title="" if cause is None else cause.title,
        steps=tuple(step.id for step in steps),
        probabilities=stand.outcomes,
        even_probability=stand.evens["fixed"],
        changes=(*([] if size is None else [size]), *changes),
        regimes=compared(sides, needs),
        missing=missing,
        codes=codes,
        holding=holding,
        drive=path,
        something_else=stand.others,
        taken_out=taken_out(sides),
        reasons=(*_reasons(steps, stand.outcomes, stand.evens, shows, cause), *stand.believed),
        cautions=tuple(
            dict.fromkeys([*_doubts(sides), *(caution for one in path for caution in one.cautions), *STANDING])
        ),
        before=tuple(one.label for one in before.recordings),
        after=tuple(one.label for one in after.recordings),
    )


def _doubts(sides: Sides) -> list[str]:
    """What is doubtful in what was stated of either day, and whether what was recorded after is of this engine."""
    stated = [one.barometer.doubt for one in (sides.before, sides.after) if one.barometer.doubt]
    return [*stated, *(f"after the repair, {says}" for says in unboosted(sides.after, NONE))]


def _felt(outcomes: Mapping[Outcome, float]) -> dict[Outcome, float]:
    """The same, once somebody says that the trouble is back."""
    gone = outcomes["fixed"] + outcomes["nothing before"]
    if not 0.0 < gone < 1.0:
        return dict(outcomes)
    left = felt_again(gone)
    return {
        outcome: p * (left / gone if outcome in ("fixed", "nothing before") else (1.0 - left) / (1.0 - gone))
        for outcome, p in outcomes.items()
    }


def _mended(probability: Mapping[str, float], done: Done, steps: Sequence[Step], known: Knowledge) -> Cause | None:
    """What was to be mended: as somebody says, else the likeliest of what these steps cure, else the likeliest."""
    if done.cause is not None:
        return None if done.cause == NONE else known.causes[done.cause]
    faulty = {cause: p for cause, p in probability.items() if cause != NONE}
    aimed = {c: p for c, p in faulty.items() if any(c in step.cures for step in steps) and p >= WORTH_NAMING}
    chosen = aimed or faulty
    return known.causes[max(chosen, key=lambda c: chosen[c])] if chosen else None


def _reasons(
    steps: Sequence[Step],
    outcomes: Mapping[Outcome, float],
    evens: Mapping[Outcome, float],
    shows: float | None,
    cause: Cause | None,
) -> list[str]:
    lines = []
    if steps:
        lines.append(f"done: {'; '.join(step.title for step in steps)}")
    if cause is not None and steps and not any(cause.id in step.cures for step in steps):
        lines.append(f"what was done does not usually mend this: {in_small(cause.title)}")
    lines.append(
        f"gone and nothing else: {in_hundred(outcomes['fixed'])} after what was done, {in_hundred(evens['fixed'])} if "
        f"that had been as likely to fail as to help; a proof needs {in_hundred(judged().proved)} and "
        f"{in_hundred(judged().proved_evenly)}"
    )
    if cause is not None and shows is not None:
        none = 1.0 if cause.unit.startswith("x") else 0.0
        lines.append(f"the recording after would show a size of {shows + none:.2g} {cause.unit} or more")
    return lines


def _refused(refused: str, before: Before, after: AfterRepair, done: Done, sides: Sides, known: Knowledge) -> Proof:
    cause = known.causes.get(done.cause or "")
    nothing = dict.fromkeys(OUTCOMES, 0.0) | {"same": 0.5, "fixed": 0.5}
    outcomes: dict[Outcome, float] = {name: nothing[name] for name in OUTCOMES}
    return Proof(
        judgement="not proved yet",
        says=f"not proved yet: {refused}",
        cause=done.cause,
        cause_title="" if cause is None else cause.title,
        steps=done.steps,
        probabilities=outcomes,
        even_probability=0.5,
        changes=(),
        regimes=compared(sides, None),
        missing=(Missing("signals", None, refused),),
        codes=codes_after(after.said, before.codes, done.cause, known),
        holding=None,
        drive=(),
        cautions=STANDING,
        before=tuple(one.label for one in before.recordings),
        after=tuple(one.label for one in after.recordings),
    )


__all__ = ["AfterRepair", "Before", "Done", "prove"]
